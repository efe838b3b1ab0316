"""What stands where a page would: nothing there, not yours to do, a form that is not its page's."""

import uuid

from playwright.sync_api import Browser, Page, expect

from tests.api.client import Client, Coop, sign_in
from tests.api.people import add_person, join
from tests.browser.visiting import assert_well_made, beside, go, screen_of


def refused(page: Page, path: str, status: int, heading: str) -> None:
    answer = page.goto(f"{page.base}{path}")  # type: ignore[attr-defined]
    assert answer is not None
    assert answer.status == status
    expect(page.locator("h1")).to_have_text(heading)
    assert_well_made(page)


def add(page: Page, name: str) -> None:
    """Send the form of a new material."""
    page.get_by_label("Name", exact=True).fill(name)
    page.get_by_role("button", name="Add it").click()


def test_nothing_there_or_not_yours(browser: Browser, page: Page, shop: Coop) -> None:
    refused(page, "/nowhere", 404, "That did not work")
    refused(page, f"/lots/{uuid.uuid4()}", 404, "Nothing here")
    person = add_person(shop)
    join(shop, person, "North Bench", "bench")
    token = sign_in(shop.server, person).made()["token"]
    with beside(browser, page, Client(shop.server.port, token)) as visit:
        refused(visit.page, "/books", 403, "Not yours to do")


def test_a_form_that_is_not_its_page_s(page: Page) -> None:
    """One that was sent before with other words in it, and one that no page gave out."""
    go(page, "/materials/new")
    key = page.locator("main [name=form_key]").first
    earlier = key.input_value()
    add(page, f"Yarrow {screen_of(page)}")
    page.wait_for_url("**/materials/*-*")
    go(page, "/materials/new")
    key.evaluate("(one, key) => { one.value = key; }", earlier)
    add(page, f"Tansy {screen_of(page)}")
    expect(page.locator("h1")).to_have_text("Sent before")
    assert_well_made(page)
    go(page, "/materials/new")
    page.locator("main [name=csrfmiddlewaretoken]").first.evaluate("one => one.remove()")
    add(page, f"Tansy {screen_of(page)}")
    expect(page.locator("h1")).to_have_text("That did not work")
    assert_well_made(page)
