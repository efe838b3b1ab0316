"""A delivery, from what stands on its note to the shelf."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.api.files import pdf
from tests.browser.visiting import EVERY_WAY, assert_fits, go, screen_of


@pytest.fixture(scope="module")
def glycerin(north: Client) -> str:
    return north.material("Glycerin", density="1.26 g/mL")


def fill(page: Page, **typed: str) -> None:
    for name, text in typed.items():
        page.locator(f"[name={name.replace('__', '-')}]").fill(text)


def test_kilograms_stand_there_while_it_is_typed(page: Page, glycerin: str, north: Client) -> None:
    go(page, f"/receive?material={glycerin}")
    assert_fits(page)
    page.get_by_label("How much").fill("4 gal")
    # 4 US gallons of 3.785411784 L each (NIST SP 811), at 1.26 g/mL.
    beneath = page.locator("#comes-lines-0")
    expect(beneath).to_contain_text(re.compile(r"19\.078\s*kg"))
    expect(beneath).to_be_in_viewport()
    expect(beneath).to_contain_text(re.compile(r"4 gal . 1\.26 g/mL"))
    expect(beneath).to_contain_text("the material's density")
    expect(page.locator("#working")).to_contain_text(re.compile(r"19\.078\s*kg"))
    page.get_by_label("Price of this line").fill("92.00")
    page.get_by_label("Freight").fill("8.00")
    expect(page.locator("#working")).to_contain_text(re.compile(r"100\.00\s*USD"))
    expect(beneath).to_contain_text(re.compile(r"freight 8\.00\s*USD"))
    page.get_by_label("From whom").fill("Harbour Oils")
    page.get_by_label("Their lot number").fill("G-17")
    page.get_by_label("Certificate").set_input_files(
        {"name": "CoA.pdf", "mimeType": "application/pdf", "buffer": pdf(page.url)}
    )
    page.get_by_role("button", name="Put it on the shelf").click()
    if page.locator(".errorlist").count():
        # Only the first of the two screens brings a new supplier.
        assert "No supplier is called" in page.locator(".errorlist").first.inner_text()
        assert_fits(page)
        page.get_by_label("This supplier is new").check()
        page.get_by_label("Certificate").set_input_files(
            {"name": "CoA.pdf", "mimeType": "application/pdf", "buffer": pdf(page.url)}
        )
        page.get_by_role("button", name="Put it on the shelf").click()
    page.wait_for_url("**/receipts/*")
    assert_fits(page)
    page.get_by_text("on the shelf", exact=False).first.click()
    expect(page.locator("main")).to_contain_text("freight")
    page.get_by_role("link", name="Glycerin").click()
    page.wait_for_url("**/lots/*")
    expect(page.locator("main")).to_contain_text("in quarantine")
    expect(page.locator("main")).to_contain_text("CoA.pdf")
    assert_fits(page)
    page.get_by_label("Release it").check()
    page.get_by_label("Because").first.fill("certificate agrees")
    page.get_by_role("button", name="So be it").click()
    expect(page.locator("main")).to_contain_text("Released: certificate agrees")
    page.get_by_role("link", name="How its cost came about").click()
    expect(page.locator("#working")).to_contain_text("freight")
    assert_fits(page)


def test_without_javascript(plain: Page, glycerin: str) -> None:
    page = plain
    go(page, f"/receive?material={glycerin}")
    fill(page, lines__0__quantity="2 oz")
    page.get_by_role("button", name="Work it out first").click()
    assert page.get_by_label("How much").input_value() == "2 oz"
    fill(page, lines__0__quantity="1 kg")
    page.get_by_role("button", name="Work it out first").click()
    expect(page.locator("#working")).to_contain_text(re.compile(r"1\s*kg"))
    page.get_by_role("button", name="One more line").click()
    expect(page.locator("[name='lines-1-material']")).to_have_count(1)
    page.get_by_role("button", name="Work it out first").click()
    expect(page.locator("#working")).to_contain_text(re.compile(r"1\s*kg"))
    fill(page, lines__0__price="11,00", lines__1__material="Nothing of the kind")
    page.get_by_role("button", name="Put it on the shelf").click()
    # Each error stands at its field: no supplier, a comma, no lot number, no quantity.
    wrong = page.locator("[aria-invalid=true]").evaluate_all("all => all.map(one => one.name)")
    assert {"supplier", "lines-0-price", "lines-0-supplier_lot", "lines-1-quantity"} <= set(wrong)
    fill(
        page,
        supplier=f"Mill Supplies {screen_of(page)}",
        lines__0__price="11.00",
        lines__0__supplier_lot="7",
    )
    fill(page, lines__1__material="")
    page.get_by_label("This supplier is new").check()
    fill(page, basis="certificate seen")
    page.get_by_role("button", name="Put it on the shelf").click()
    page.wait_for_url("**/receipts/*")


def test_the_same_form_receives_once(page: Page, glycerin: str, north: Client) -> None:
    """The browser's back button, and the same form again: what was done is shown, not done anew."""
    before = len(north.listed("lots"))
    supplier = north.get("suppliers").made()["results"][0]["name"]
    go(page, f"/receive?material={glycerin}")
    fill(page, supplier=supplier, lines__0__quantity="1 kg", lines__0__price="5.00")
    fill(page, lines__0__supplier_lot="once")
    form = page.locator("form[method=post][enctype]")
    body = form.evaluate("one => new URLSearchParams(new FormData(one)).toString()")
    answers = [
        page.request.post(
            f"{page.base}/receive",  # type: ignore[attr-defined]
            data=body,
            headers={"Content-Type": "application/x-www-form-urlencoded"},
            max_redirects=0,
        )
        for _ in range(2)
    ]
    assert [one.status for one in answers] == [303, 303]
    assert answers[0].headers["location"] == answers[1].headers["location"]
    other = page.request.post(
        f"{page.base}/receive",  # type: ignore[attr-defined]
        data=body.replace("quantity=1+kg", "quantity=2+kg"),
        headers={"Content-Type": "application/x-www-form-urlencoded"},
    )
    assert other.status == 422
    assert "saved once already" in other.text()
    assert len(north.listed("lots")) == before + 1


def test_a_search_stays_in_the_address(page: Page, glycerin: str) -> None:
    go(page, "/lots")
    page.get_by_label("Look for").fill("GLYC")
    page.wait_for_url("**/lots?q=GLYC*")
    expect(page.locator("#found")).to_contain_text("Glycerin")
    page.get_by_label("Look for").fill("nothing of the kind")
    expect(page.locator("#found")).to_contain_text("Nothing is called so")
    assert_fits(page)
    go(page, "/lots?q=glyc&gone=on")
    assert page.get_by_label("Look for").input_value() == "glyc"
    expect(page.locator("#found")).to_contain_text("Glycerin")


@EVERY_WAY
def test_a_material_with_its_prices(page: Page, glycerin: str, north: Client) -> None:
    north.receive(glycerin, "5 kg", "60.00", happened_at="2025-04-01T09:00:00Z")
    north.receive(glycerin, "5 kg", "70.00", happened_at="2025-05-01T09:00:00Z")
    go(page, "/materials?q=glyc")
    page.get_by_role("link", name="Glycerin").first.click()
    page.wait_for_url("**/materials/*")
    expect(page.locator(".plot svg")).to_be_visible()
    expect(page.locator("table")).to_contain_text(re.compile(r"14\.0000\s*USD"))
    assert_fits(page)
    page.get_by_label("Warn me when there is no more than").fill("2 kg")
    page.get_by_role("button", name="Warn me").click()
    page.wait_for_load_state()
    assert page.get_by_label("Warn me when there is no more than").input_value() == "2 kg"
    assert north.get(f"watches/{glycerin}").made()["entered"] == "2 kg"


@EVERY_WAY
def test_a_new_material(page: Page) -> None:
    go(page, "/materials/new")
    assert_fits(page)
    name = f"Panthenol {screen_of(page)}"
    page.get_by_label("Name", exact=True).fill(name)
    page.get_by_label("Density").fill("heavy")
    page.get_by_role("button", name="Add it").click()
    expect(page.locator(".errorlist")).to_be_visible()
    page.get_by_label("Density").fill("1.2 g/mL")
    page.get_by_role("button", name="Add it").click()
    page.wait_for_url(re.compile(r"/materials/[0-9a-f-]{36}$"))
    expect(page.locator("h1")).to_have_text(name)


@EVERY_WAY
def test_sold_and_taken_back(page: Page, north: Client) -> None:
    soap = north.material(f"Laurel soap {screen_of(page)}", measured_by="count")
    lot = north.receive(soap, "20 each", "40.00")
    go(page, f"/lots/{lot}")
    page.get_by_role("link", name="Sold, given out, back").click()
    page.get_by_label("How much").fill("12")
    page.get_by_label("To whom, or why").fill("A shop")
    assert_fits(page)
    page.get_by_role("button", name="It is out").click()
    page.wait_for_url(re.compile(r"/lots/[^/]+$"))
    page.get_by_role("link", name="sold", exact=True).click()
    expect(page.locator("main")).to_contain_text("A shop")
    assert_fits(page)
    page.get_by_label("Why it is taken back").fill("it was another lot")
    page.get_by_role("button", name="Take it back").click()
    expect(page.locator("main .note")).to_contain_text("It takes back")
    for path in ("/suppliers", "/alerts"):
        go(page, path)
        assert_fits(page)
