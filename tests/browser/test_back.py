"""The browser's own Back, after a form was refused and then done, and after signing out."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.visiting import SIZES, go, screen_of

pytestmark = pytest.mark.xdist_group("browser")


@pytest.mark.parametrize("page", SIZES, indirect=True)
def test_back_from_what_was_done_is_the_form_again(page: Page) -> None:
    go(page, "/materials/new")
    name = f"Quince wax {screen_of(page)}"
    page.get_by_label("Name", exact=True).fill(name)
    page.locator("[name=density]").fill("heavy")
    page.get_by_role("button", name="Add it").click()
    expect(page).to_have_title("Not done: A new material · Stillroom")
    page.locator("[name=density]").fill("0.9 g/mL")
    page.get_by_role("button", name="Add it").click()
    expect(page.locator("h1")).to_have_text(name)
    page.go_back()
    expect(page).to_have_title("A new material · Stillroom")
    expect(page.get_by_role("button", name="Add it")).to_be_visible()
    page.go_forward()
    expect(page.locator("h1")).to_have_text(name)
    page.context.clear_cookies()
    page.go_back()
    page.go_back()
    expect(page.locator("main")).to_contain_text("Sign in")
    expect(page.locator("main")).not_to_contain_text(name)
