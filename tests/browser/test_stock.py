"""What lies on the shelf: counted, tested, sent to a shop, emptied back into bulk."""

from playwright.sync_api import Page

from tests.api.client import Client
from tests.browser.benches import filled
from tests.browser.visiting import EVERY_WAY, assert_fits, go, print_it, screen_of, send

pytestmark = EVERY_WAY


def test_counted_blind_explained_and_closed(page: Page, north: Client) -> None:
    """Of 1,000 g of an acid 940 g are there, since 60 g were spilled."""
    lot = north.receive(north.material(f"Stearic acid {screen_of(page)}"), "1 kg", "20.00")
    go(page, f"/counts?lot={lot}")
    assert_fits(page)
    send(page, "Start counting", "looked at yet", {"place": "Cold room", "blind": "on"})
    found = {f"found_{lot}": "940"}
    print_it(page, "Print the sheet", "Stearic acid")
    send(page, "Keep what I found", "read it once more", found)
    send(page, "Keep what I found", "to be explained", found)
    page.get_by_role("link", name="Explain and close").click()
    spilled = {"cause": "spill", "quantity": "60", "reason": "dropped"}
    causes = {f"{lot}-0-{name}": text for name, text in spilled.items()}
    send(page, "Close the sheet", r"dropped:\s*-60\s*g", causes)
    assert north.get(f"lots/{lot}").made()["on_hand"]["grams"] == "940.000000"


def test_what_a_test_finds_holds_a_lot(page: Page, north: Client) -> None:
    oil = north.material(f"Hemp oil {screen_of(page)}")
    lot = north.receive(oil, "1 kg", "20.00")
    go(page, f"/materials/{oil}/facts")
    assert_fits(page)
    send(page, "Keep it", "Cannabis Sativa Seed Oil", {"inci_name": "Cannabis Sativa Seed Oil"})
    go(page, f"/materials/{oil}/limits")
    asked = {"limits-0-name": "Peroxide value", "limits-0-high": "10", "limits-0-unit": "meq"}
    send(page, "Set it", r"at most 10\s*meq", asked)
    go(page, f"/lots/{lot}/results")
    result = {"results-0-name": "Peroxide value", "results-0-value": "12"}
    send(page, "Keep them", "on hold", {**result, "results-0-unit": "meq"})
    water = north.material(f"Well water {screen_of(page)}", stocked=False, density="1 g/mL")
    go(page, f"/materials/{water}/source")
    drawn = {"source": "tap by the window", "result": "nothing grew", "passed": "yes"}
    send(page, "Keep it", "nothing grew", drawn)


def test_what_lies_at_a_shop_is_sold_there(page: Page, north: Client) -> None:
    shop = f"Pier {screen_of(page)}"
    soap = north.material(f"Salt soap {screen_of(page)}", measured_by="count")
    lot = north.receive(soap, "20 each", "40.00")
    go(page, f"/lots/{lot}/shops")
    send(page, "It is on its way", shop, {"shop": shop, "quantity": "3 each"})
    go(page, "/at-shops")
    row = {"lines-0-lot": north.get(f"lots/{lot}").made()["code"], "lines-0-quantity": "4 each"}
    other = f"Quay {screen_of(page)}"
    send(page, "It is on its way", other, {"shop": other, **row})
    go(page, f"/at-shops?shop={other}")
    send(page, "Keep it", r"3\s*pieces", {f"{lot}-sold": "1"})
    assert north.get(f"lots/{lot}").made()["on_hand"]["count"] == "13"


def test_pieces_are_weighed_and_emptied(page: Page, north: Client) -> None:
    """Ten jars of 50 g that a batch was finished in, of which two have the wrong label."""
    batch = filled(north, f"Plum balm {screen_of(page)}")
    go(page, f"/batches/{batch['id']}/units")
    send(page, "This rule", "at most 1 in 40")
    send(page, "These are the weights", r"Mean\s*50\.2", {"weighings": "50.1 50.2 50.3"})
    go(page, f"/lots/{batch['lot']['id']}/emptying")
    assert_fits(page)
    typed = {"units": "2", "reason": "the wrong label"}
    send(page, "They are empty", r"100\s*g", typed)
