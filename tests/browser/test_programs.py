"""Whom programs and mails tell, and what a program signs in with: made, shown once, ended."""

from playwright.sync_api import Page, expect

from tests.api.client import PASSWORD, Client
from tests.browser.visiting import EVERY_WAY, assert_fits, go, screen_of, send

pytestmark = EVERY_WAY


def test_a_token_is_made_and_ended(page: Page, north: Client) -> None:
    note = f"Till {screen_of(page)}"
    go(page, "/tokens")
    assert_fits(page)
    typed = {"note": note, "scope": "read", "old": PASSWORD}
    send(page, "Make it", "shown this once", typed)
    till = Client(north.port, page.locator(".secret").inner_text())
    assert till.get("materials").status == 200
    row = page.locator("main li", has_text=note)
    with page.expect_navigation():
        row.get_by_role("button", name="End it").click()
    expect(page.locator("h1")).to_have_text("Where you are signed in")
    expect(row).to_have_count(0)
    assert till.get("materials").status == 401


def test_a_program_and_an_address_hear_of_alerts(page: Page, north: Client) -> None:
    name = f"shelf{screen_of(page)}"
    go(page, "/alerts")
    assert_fits(page)
    days = len(name)
    page.locator("[name=deposit_days]").fill(str(days))
    with page.expect_navigation():
        page.get_by_role("button", name="Keep this").click()
    assert north.get("alert-settings").made()["deposit_days"] == days
    send(page, "Send them there", f"{name}@example.org", {"mail": f"{name}@example.org"})
    told = page.locator("main section div", has_text=f"{name}@example.org")
    with page.expect_navigation():
        told.get_by_role("button", name="Try it").click()
    expect(page.locator("main li", has_text=f"{name}@example.org").first).to_be_visible()
    told.get_by_role("button", name="Not there any more").click()
    expect(told).to_have_count(0)
    page.get_by_role("link", name="Programs that hear of alerts").click()
    send(page, "Tell it of alerts", "shown this once", {"webhook": f"https://{name}.invalid/"})
    page.get_by_role("link", name=f"https://{name}.invalid/").click()
    assert_fits(page)
    send(page, "Send a test", r"a test\s*\d")
    send(page, "Make a new secret", "shown this once")
    page.get_by_role("button", name="Tell it nothing any more").click()
    expect(page.locator("h1")).to_have_text("Programs that hear of alerts")
    expect(page.get_by_role("link", name=f"https://{name}.invalid/")).to_have_count(0)
