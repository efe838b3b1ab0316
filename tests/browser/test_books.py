"""What stock was worth on a day, what was used and sold, and batches against their standards."""

import re
from zipfile import ZipFile

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import EVERY_WAY, assert_well_made, go, screen_of

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
    with page.expect_download() as download:
        page.get_by_role("link", name="Take a copy of all that you have").click()
    with ZipFile(download.value.path()) as copy:
        assert "Borage oil" in copy.read("material.csv").decode()
    worth.get_by_role("row", name="Borage oil").get_by_role("link").last.click()
    expect(page.locator(".opened .working")).to_contain_text(re.compile(r"came in\s*30"))
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


@EVERY_WAY
def test_a_batch_is_held_to_what_was_set(page: Page, north: Client) -> None:
    """Half a kilogram of oil at 15.00 in five tins at 0.80, where 14.00 and 0.80 were set."""
    name = f"Cuticle oil {screen_of(page)}"
    made_of_oil(north, name)
    month = "first=2024-04-01&last=2024-04-30"
    go(page, f"/books/variances?{month}")
    assert_well_made(page)
    page.get_by_role("link", name=f"{name}, version 1").click()
    assert_well_made(page)
    day, oil = page.get_by_label("From this day on"), page.get_by_label(f"{name}, bought")
    day.fill("2024-04-01")
    oil.fill("14 USD")
    page.get_by_role("button", name="Set it").click()
    expect(page.locator(".errorlist")).to_contain_text("plain number")
    oil.fill("14")
    page.get_by_role("button", name="Set it").click()
    expect(page.locator("main .rows")).to_contain_text(re.compile(r"14\.0000\s*USD"))
    assert_well_made(page)
    go(page, f"/books/variances?{month}")
    page.get_by_role("link", name=f"{name} 100 g").click()
    page.get_by_label("From this day on").fill("2024-04-01")
    page.get_by_role("button", name="Set it").click()
    expect(page.locator("main .rows")).to_contain_text(re.compile(r"0\.8000\s*USD"))
    assert_well_made(page)
    page.get_by_role("link", name="Against standards").click()
    go(page, f"/books/variances?{month}")
    expect(page.get_by_role("region", name="Batch by batch")).to_contain_text(
        re.compile(r"0\.50\s*USD\s*11\.50\s*USD\s*11\.00\s*USD")
    )
    assert_well_made(page)


def made_of_oil(north: Client, name: str) -> None:
    """Five tins of an oil, made and filled in April."""
    oil, tin = north.material(f"{name}, bought"), north.material(f"{name} tin", measured_by="count")
    at = "2024-04-02T09:00:00Z"
    lot = north.receive(oil, "2 kg", "30.00", happened_at=at)
    north.receive(tin, "100 each", "80.00", happened_at=at)
    phases = [{"name": "A", "lines": [{"material": oil, "percent": "100"}]}]
    formula = north.post("formulas", {"name": name, "phases": phases}).made()["id"]
    packaging = [{"material": tin, "quantity": "1 each"}]
    product = {"name": f"{name} 100 g", "formula": formula, "packaging": packaging}
    product |= {"fill": {"nominal": "100 g"}}
    made = north.post("products", product).made()["id"]
    plan = {"product": made, "units": 5, "planned_for": "2024-04-03"}
    batch = north.post("batches", plan).made()
    weighing = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": "500 g"}
    north.post(f"batches/{batch['id']}/weighings", weighing | {"happened_at": at}).made()
    done = {"output": "500 g", "units": 5, "happened_at": at}
    north.post(f"batches/{batch['id']}/finish", done).made()
