"""What is put right when it is known better: a product, a container, a price, a complaint."""

from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.benches import filled
from tests.browser.visiting import EVERY_WAY, assert_fits, go, screen_of, send

pytestmark = EVERY_WAY


def test_a_product_is_changed_and_its_jar_filled_with_water(page: Page, north: Client) -> None:
    """A jar that is sold as 60 mL holds 66 g of water: some 66 mL."""
    name = f"Fig balm {screen_of(page)}"
    batch = filled(north, name)["id"]
    sold = north.get(f"batches/{batch}").made()["product"]
    go(page, f"/products/{sold}/edit")
    assert_fits(page)
    send(page, "Keep it", f"{name} in a jar", {"name": f"{name} in a jar", "pieces_0": "2"})
    (packed,) = north.get(f"products/{sold}").made()["packaging"]
    assert packed["count"].startswith("2")
    jar = north.material(f"Clear jar {screen_of(page)}", measured_by="count")
    go(page, f"/materials/{jar}/container")
    send(page, "Keep it", "Sold as holding", {"nominal": "60 mL", "headspace_percent": "0"})
    water = {"level": "usable", "at": "20 degC", "pieces-0-gross": "96", "pieces-0-tare": "30"}
    send(page, "Keep it", r"66\.\d\d", water)
    go(page, "/containers")
    expect(page.locator("main")).to_contain_text(f"Clear jar {screen_of(page)}")
    assert_fits(page)


def test_an_offer_costs_otherwise_and_ends(page: Page, north: Client) -> None:
    clay = north.material(f"Kaolin {screen_of(page)}")
    supplier = north.supplier()
    pack = {"supplier": supplier, "material": clay, "pack": "5 kg", "price": "40.00"}
    offer = north.post("offers", {**pack, "valid_from": "2025-01-01"}).made()["id"]
    go(page, f"/offers/{offer}")
    assert_fits(page)
    send(page, "Keep it", r"43\.50", {"price": "43.50"})
    send(page, "It ends", "It is not offered any more.", {"end_note": "they moved away"})


def test_a_complaint_is_added_to_and_closed(page: Page, north: Client) -> None:
    go(page, "/complaints/new")
    told = f"It smells of soap, {screen_of(page)}"
    send(page, "Keep it", "Add to it", {"what_happened": told})
    send(page, "Keep it", "asked for the jar", {"text": "asked for the jar"})
    send(page, "It is closed", r"closed \d", {"text": "the jar was washed with soap"})


def test_what_stood_against_a_rule_is_found(page: Page, north: Client) -> None:
    go(page, "/deviations")
    page.get_by_role("button", name="Show").click()
    expect(page.locator("#found")).to_be_visible()
    assert_fits(page)
