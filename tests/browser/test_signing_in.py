"""From the door to the first page, and out again."""

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.api.client import PASSWORD, Client, Coop
from tests.api.client import sign_in as ask_in
from tests.api.people import add_person, join
from tests.browser.visiting import SIZES, Visit, assert_fits, assert_well_made, go, send, sign_in


@pytest.mark.parametrize("size", SIZES)
def test_in_and_out(browser: Browser, shop: Coop, size: str) -> None:
    with Visit(browser, size=size) as visit:
        page = visit.open(shop.server.port)
        go(page, "/look")
        assert page.url.endswith("/sign-in?next=%2Flook")
        assert_well_made(page)
        field = page.get_by_label("User name").bounding_box()
        assert field is not None
        assert field["width"] > 300, "a name has room"
        sign_in(page, shop.owners["North Bench"])
        page.wait_for_url("**/look")
        kept = {cookie["name"]: cookie for cookie in visit.context.cookies()}
        assert kept["stillroom"]["httpOnly"]
        assert kept["stillroom"]["sameSite"] == "Lax"
        go(page, "/")
        assert "North Bench" in page.locator("header").inner_text()
        assert_fits(page)
        if size == "phone":
            page.get_by_text("Menu", exact=True).first.click()
        page.get_by_role("button", name="Sign out").locator("visible=true").click()
        page.wait_for_url("**/sign-in")
        # The token itself is worth nothing any more.
        visit.sign_in(shop.server.port, kept["stillroom"]["value"])
        go(page, "/")
        assert page.url.endswith("/sign-in")


def test_without_javascript(browser: Browser, shop: Coop) -> None:
    with Visit(browser, javascript=False) as visit:
        page = visit.open(shop.server.port)
        go(page, "/sign-in")
        sign_in(page, shop.owners["North Bench"], "not the password")
        assert "The user name or the password is wrong." in page.locator("form").inner_text()
        sign_in(page, shop.owners["North Bench"])
        page.wait_for_url("**/")
        assert "North Bench" in page.locator("header").inner_text()


def test_all_that_is_one_s_own_without_javascript(browser: Browser, shop: Coop) -> None:
    """Which maker one works for, how pages look, the password, and the way out."""
    person, new = add_person(shop), "two kettles and no scale"
    join(shop, person, "North Bench", "bench")
    join(shop, person, "Mill Bench", "books")
    with Visit(browser, size="desk", javascript=False) as visit:
        page = visit.open(shop.server.port)
        go(page, "/sign-in")
        sign_in(page, person)
        page.get_by_role("button", name="Mill Bench").click()
        page.wait_for_url("**/")
        go(page, "/look")
        page.get_by_label("dark").check()
        page.get_by_role("button", name="Keep this").click()
        expect(page.locator("html")).to_have_attribute("data-theme", "dark")
        page.get_by_role("link", name="Change your password").click()
        send(page, "Change it", "It is changed", {"old": PASSWORD, "password": new, "again": new})
        page.get_by_role("button", name="Sign out").locator("visible=true").click()
        page.wait_for_url("**/sign-in")


def test_another_site_is_not_gone_to(browser: Browser, shop: Coop) -> None:
    with Visit(browser) as visit:
        page = visit.open(shop.server.port)
        go(page, "/sign-in?next=//elsewhere.example/")
        sign_in(page, shop.owners["North Bench"])
        page.wait_for_url(f"http://127.0.0.1:{shop.server.port}/")


@pytest.mark.parametrize("size", SIZES)
def test_whoever_has_two_makers_chooses(browser: Browser, shop: Coop, size: str) -> None:
    person = add_person(shop)
    join(shop, person, "North Bench", "bench")
    join(shop, person, "Mill Bench", "books")
    with Visit(browser, size=size) as visit:
        page = visit.open(shop.server.port)
        go(page, "/sign-in")
        sign_in(page, person)
        page.wait_for_url("**/makers")
        assert_fits(page)
        page.get_by_role("button", name="Mill Bench").click()
        page.wait_for_url("**/")
        assert "Mill Bench" in page.locator("header").inner_text()


def test_how_pages_look(page: Page) -> None:
    go(page, "/look")
    assert_fits(page)
    page.get_by_label("dark").check()
    page.get_by_label("pounds and ounces").check()
    page.get_by_role("button", name="Keep this").click()
    page.wait_for_load_state()
    assert page.locator("html").get_attribute("data-theme") == "dark"
    assert page.get_by_label("pounds and ounces").is_checked()
    assert_well_made(page)
    # Paper is light, nothing is typed on it, and it says whose it is.
    page.emulate_media(media="print")
    paper = "getComputedStyle(document.documentElement).getPropertyValue('--ink').trim()"
    assert page.evaluate(paper) == "#25221c"
    assert not page.get_by_role("button", name="Keep this").is_visible()
    assert page.locator(".whose").is_visible()
    assert not page.locator(".brand, .menu, .rail").locator("visible=true").count()
    page.emulate_media(media="screen")
    assert page.evaluate(paper) == "#ece7dc"
    page.get_by_label("as this device is set").check()
    page.get_by_label("grams and kilograms").check()
    page.get_by_role("button", name="Keep this").click()
    page.wait_for_load_state()
    assert page.locator("html").get_attribute("data-theme") is None


@pytest.mark.parametrize("size", SIZES)
def test_a_password_is_changed(browser: Browser, shop: Coop, size: str) -> None:
    person, new = add_person(shop), "two kettles and no scale"
    join(shop, person, "North Bench", "bench")
    with Visit(browser, size=size) as visit:
        page = visit.open(shop.server.port)
        go(page, "/look")
        sign_in(page, person)
        page.wait_for_url("**/look")
        page.get_by_role("link", name="Change your password").click()
        page.get_by_label("Your password until now").fill(PASSWORD)
        page.get_by_label("A new one").fill("1234567890")
        page.get_by_label("The new one again").fill("1234567890")
        page.get_by_role("button", name="Change it").click()
        expect(page.locator(".errorlist").first).to_contain_text("too common")
        assert_fits(page)
        page.get_by_label("Your password until now").fill(PASSWORD)
        page.get_by_label("A new one").fill(new)
        page.get_by_label("The new one again").fill(new)
        page.get_by_role("button", name="Change it").click()
        expect(page.get_by_role("status")).to_contain_text("It is changed")
        assert_fits(page)
        assert ask_in(shop.server, person, PASSWORD).status == 401
        other = Client(shop.server.port, ask_in(shop.server, person, new).made()["token"])
        go(page, "/tokens")
        page.get_by_role("button", name="End all of them").click()
        page.wait_for_url("**/sign-in*")
        assert other.get("materials").status == 401
