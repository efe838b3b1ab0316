"""A form that was refused shows where, at once, on a small screen."""

from uuid import uuid4

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import PLAIN, SIZES, assert_fits, go, screen_of

pytestmark = pytest.mark.xdist_group("browser")
DELIVERY = {
    "lines-0-quantity": "1 kg",
    "lines-0-price": "5.00",
    "lines-0-supplier_lot": "R-1",
}


def send(page: Page, north: Client, typed: dict[str, str]) -> None:
    """A delivery of a supplier of its own, whoever came before, which is refused."""
    supplier = f"Pier Oils {uuid4()}"
    north.post("suppliers", {"name": supplier}).made()
    for name, text in {"supplier": supplier, **typed}.items():
        page.locator(f"[name='{name}']").fill(text)
    page.get_by_role("button", name="Put it on the shelf").click()
    expect(page).to_have_title("Not done: Receive · Stillroom")


@pytest.mark.parametrize("page", [*SIZES, *PLAIN], indirect=True)
def test_the_first_thing_wrong_is_on_the_screen_and_has_the_focus(
    page: Page, north: Client
) -> None:
    wax = north.material(f"Rice wax {screen_of(page)}")
    go(page, f"/receive?material={wax}")
    send(page, north, {**DELIVERY, "lines-0-price": "5,00", "freight": "much"})
    first = page.locator("[name='lines-0-price']")
    expect(first).to_be_focused()
    expect(first).to_be_in_viewport()
    expect(page.locator("#id_lines-0-price_error")).to_be_in_viewport()
    assert "id_lines-0-price_error" in (first.get_attribute("aria-describedby") or "")
    assert_fits(page)
    page.locator(".unkept").get_by_role("link", name="Freight", exact=True).click()
    expect(page.locator("[name='freight']")).to_be_in_viewport()


@pytest.mark.parametrize("page", [*SIZES, *PLAIN], indirect=True)
def test_what_is_wrong_in_a_fold_is_not_hidden(page: Page, north: Client) -> None:
    wax = north.material(f"Berry wax {screen_of(page)}")
    go(page, f"/receive?material={wax}")
    page.locator("details.work > summary").first.click()
    send(page, north, {**DELIVERY, "lines-0-density": "heavy"})
    expect(page.locator("[name='lines-0-density']")).to_be_focused()
    expect(page.locator("[name='lines-0-density']")).to_be_in_viewport()
