"""Where lots lie: a shelf is named, a lot is put on it, found there, and carried away again."""

from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import EVERY_WAY, assert_fits, go, screen_of, send


@EVERY_WAY
def test_a_lot_is_put_on_a_shelf_and_found_there(page: Page, north: Client) -> None:
    shelf, attic = (f"{name} {screen_of(page)}" for name in ("Waiting shelf", "Attic"))
    oil = f"Plum oil {screen_of(page)}"
    lot = north.receive(north.material(oil), "1 kg", "9.00", release=False)
    go(page, "/lots")
    page.get_by_role("link", name="Where lots lie").click()
    assert_fits(page)
    send(page, "Add it", attic, {"name": attic})
    send(page, "Add it", shelf, {"name": shelf, "keeps": "quarantine"})
    ids = {row["name"]: row["id"] for row in north.listed("places")}
    go(page, f"/lots/{lot}")
    send(page, "It lies there now", rf"Lies in\s*{shelf}", {"place": ids[shelf]})
    page.get_by_role("link", name=shelf).first.click()
    expect(page.get_by_role("link", name=oil)).to_be_visible()
    assert_fits(page)
    # What was released lies there no longer, and Today leads to where that is said.
    north.post(f"lots/{lot}/decisions", {"decision": "release", "basis": "clear"}).made()
    go(page, "/")
    page.locator("li", has_text=oil).get_by_role("link", name="Carry it elsewhere").click()
    send(page, "It lies there now", rf"Lies in\s*{attic}", {"place": ids[attic]})
    go(page, f"/counts?place={ids[attic]}")
    send(page, "Start counting", "looked at yet")
    expect(page.get_by_role("link", name=oil)).to_be_visible()
    go(page, f"/places/{ids[shelf]}")
    send(page, "Keep it", r"quarantine\s*not used any more", {"retired": "on"})
