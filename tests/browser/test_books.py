"""What stock was worth on a day, what was used and sold, and batches against their standards."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import assert_well_made, go

pytestmark = pytest.mark.xdist_group("browser")


@pytest.fixture(scope="module")
def borage(north: Client) -> str:
    """Two kilograms at 30.00, of which half was sold."""
    oil = north.material("Borage oil")
    lot = north.receive(oil, "2 kg", "30.00", happened_at="2024-03-01T09:00:00Z")
    lines = [{"lot": lot, "quantity": "1 kg"}]
    sale = {"customer": "A shop", "lines": lines, "happened_at": "2024-03-10T09:00:00Z"}
    north.post("sales", sale).made()
    return oil


def test_the_books_of_a_day_and_of_a_month(page: Page, borage: str) -> None:
    go(page, "/books")
    assert_well_made(page)
    page.get_by_label("At the end of this day").fill("2024-03-05")
    page.get_by_role("button", name="Show").click()
    worth = page.get_by_role("region", name="What stock is worth")
    expect(worth).to_contain_text(re.compile(r"Borage oil\s*2\s*kg\s*30\.00\s*USD"))
    with page.expect_download() as download:
        page.get_by_role("link", name="XLSX").click()
    assert download.value.suggested_filename == "valuation-2024-03-05.xlsx"
    worth.get_by_role("row", name="Borage oil").get_by_role("link").last.click()
    expect(page.locator("#working")).to_contain_text(re.compile(r"receipt\s*30"))
    assert_well_made(page)
    month = "first=2024-03-01&last=2024-03-31"
    for path in ("usage", "sold"):
        go(page, f"/books/{path}?{month}")
        expect(page.locator("main")).to_contain_text(
            re.compile(r"Borage oil\s*1\s*kg\s*15\.00\s*USD")
        )
        assert_well_made(page)
    page.get_by_label("Until").fill("2024-02-01")
    page.get_by_role("button", name="Show").click()
    expect(page.locator(".errorlist")).to_contain_text("ends before it begins")
    go(page, f"/books/variances?{month}")
    expect(page.locator("main")).to_contain_text("No batch was finished")
    assert_well_made(page)
