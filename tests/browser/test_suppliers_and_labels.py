"""At the desk: what a supplier asks and offers, what a label names, and what a jar gives away."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.api.client import Client
from tests.browser.visiting import Visit, assert_fits, go

pytestmark = pytest.mark.xdist_group("browser")


@pytest.fixture
def phone(browser: Browser, north: Client) -> Iterator[Page]:
    """A phone on which a page may lay a text where it can be pasted from."""
    with Visit(browser, north, permissions=["clipboard-read", "clipboard-write"]) as visit:
        yield visit.page


def face_oil(north: Client) -> tuple[str, str]:
    """The ids of a product of one oil, and of the jar that it is sold in."""
    oil = north.material("Rice bran oil", density="0.9 g/mL", inci_name="Oryza Sativa Bran Oil")
    jar = north.material("Jar 60 mL", measured_by="count")
    phases = [{"name": "A", "lines": [{"material": oil, "percent": "100"}]}]
    body = {"name": "Bran oil", "density": {"value": "0.9 g/mL"}, "phases": phases}
    formula = north.post("formulas", body).made()
    packed = [{"material": jar, "quantity": "1 each"}]
    sold = {"name": "Face oil", "formula": formula["id"], "fill": {"nominal": "60 mL"}}
    return north.post("products", {**sold, "packaging": packed}).made()["id"], jar


def test_terms_an_offer_a_declaration_and_a_jar(phone: Page, north: Client) -> None:
    product, jar = face_oil(north)
    page = phone
    go(page, f"/suppliers/{north.supplier()}")
    assert_fits(page)
    page.get_by_role("link", name="Write it down").click()
    page.get_by_label("An order comes to at least").fill("150")
    page.get_by_label("Freight").select_option(label="so much an order")
    page.get_by_label("It is", exact=True).fill("28")
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("region", name="What held from when")).to_contain_text("counts today")
    assert_fits(page)
    page.locator("h1 a").click()
    page.get_by_role("link", name="Write an offer").click()
    page.get_by_label("What", exact=True).fill("Rice bran oil")
    page.get_by_label("A pack holds").fill("5 kg")
    page.get_by_label("A pack costs").fill("40")
    page.get_by_label("From so much in one order").first.fill("25 kg")
    page.get_by_label("each pack costs").first.fill("36")
    assert_fits(page)
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("region", name="Cheaper by more")).to_contain_text("from 25 kg")
    assert_fits(page)
    go(page, f"/products/{product}/declaration")
    page.get_by_role("button", name="Copy it").click()
    expect(page.get_by_role("status")).to_contain_text("It is copied.")
    assert page.evaluate("navigator.clipboard.readText()") == "Oryza Sativa Bran Oil"
    assert_fits(page)
    go(page, f"/materials/{jar}/container")
    page.get_by_label("It is sold as holding").fill("60 mL")
    page.get_by_role("button", name="Keep it").click()
    page.get_by_label("The water has").fill("20")
    page.get_by_label("Full, g").first.fill("96")
    page.get_by_label("Empty, g").first.fill("30")
    page.get_by_role("button", name="Keep it").first.click()
    given = page.get_by_role("region", name="What is given away")
    expect(given).to_contain_text("6.19")
    assert_fits(page)
    go(page, "/books/cost-formulas")
    page.get_by_label("what came first goes first").check()
    page.get_by_role("button", name="See what would change").click()
    expect(page.get_by_role("button", name="Cost it so from now on")).to_be_visible()
    assert_fits(page)
