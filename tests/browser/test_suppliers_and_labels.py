"""What a supplier asks and offers, how a class is costed, what a label names, a jar gives away."""

from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import EVERY_WAY, assert_fits, go, screen_of, send


@EVERY_WAY
def test_what_a_supplier_asks_and_offers(page: Page, north: Client) -> None:
    name = f"Rice bran {screen_of(page)}"
    north.material(name)
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
    page.get_by_label("What", exact=True).fill(name)
    page.get_by_label("A pack holds").fill("5 kg")
    page.get_by_label("A pack costs").fill("40")
    page.get_by_label("From so much in one order").first.fill("25 kg")
    page.get_by_label("each pack costs").first.fill("36")
    assert_fits(page)
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("region", name="Cheaper by more")).to_contain_text("from 25 kg")
    assert_fits(page)


@EVERY_WAY
def test_a_class_is_costed_otherwise(page: Page, north: Client) -> None:
    """2 kg at 10.00 and 2 kg at 20.00 a kilogram: the average is 15.00, the oldest cost 10.00."""
    of = f"Resins {screen_of(page)}"
    myrrh = north.material(f"Myrrh {screen_of(page)}", cost_class=of)
    for price in ("20.00", "40.00"):
        north.receive(myrrh, "2 kg", price)
    go(page, "/books/cost-formulas")
    page.get_by_label("The class").select_option(label=of)
    page.get_by_label("what came first goes first").check()
    page.get_by_role("button", name="See what would change").click()
    why = f"as advised: {of}"
    send(page, "Cost it so from now on", why, {"reason": why})
    chosen = {
        one["cost_class"]: one["formula"] for one in north.get("cost-formulas").made()["results"]
    }
    assert chosen[of] == "fifo"


def face_oil(north: Client, screen: str) -> tuple[str, str]:
    """The ids of a product of one oil, and of the jar that it is sold in."""
    inci = "Oryza Sativa Bran Oil"
    oil = north.material(f"Bran oil {screen}", density="0.9 g/mL", inci_name=inci)
    jar = north.material(f"Jar 60 mL {screen}", measured_by="count")
    phases = [{"name": "A", "lines": [{"material": oil, "percent": "100"}]}]
    body = {"name": f"Face oil {screen}", "density": {"value": "0.9 g/mL"}, "phases": phases}
    formula = north.post("formulas", body).made()
    packed = [{"material": jar, "quantity": "1 each"}]
    sold = {"name": f"Face oil {screen}", "formula": formula["id"], "fill": {"nominal": "60 mL"}}
    return north.post("products", {**sold, "packaging": packed}).made()["id"], jar


def test_a_declaration_is_copied_and_a_jar_measured(page: Page, north: Client) -> None:
    product, jar = face_oil(north, screen_of(page))
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
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
