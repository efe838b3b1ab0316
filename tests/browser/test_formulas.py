"""A formula from its first row to what a size of it needs."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import assert_fits, assert_well_made, go, screen_of


@pytest.fixture(scope="module")
def shea(north: Client) -> str:
    wax = north.material("Candelilla wax")
    north.receive(wax, "200 g", "8.00")
    return north.material("Shea butter")


@pytest.fixture(scope="module")
def stick(north: Client, shea: str) -> dict[str, Any]:
    """A stick of oil and wax, as it is sent."""
    oil = north.material("Jojoba oil")
    north.receive(oil, "1 kg", "40.00")
    (wax,) = north.listed("materials", name="Candelilla wax")
    lines = [
        {"material": oil, "balance": True},
        {"material": wax["id"], "percent": "20", "max_temperature": "60 degC"},
    ]
    phases = [{"name": "Melt", "lines": lines}]
    return {"name": "Oil stick", "process_loss_percent": "4", "phases": phases}


def fill_row(page: Page, number: int, name: str, percent: str, phase: str = "A") -> None:
    for field, text in (("name", name), ("percent", percent), ("phase", phase)):
        page.locator(f"[name=lines-{number}-{field}]").fill(text)


def test_written_down_with_its_sum(page: Page, shea: str) -> None:
    go(page, "/formulas/new")
    assert_fits(page)
    name = f"Shea stick {screen_of(page)}"
    page.get_by_label("What it is called").fill(name)
    fill_row(page, 0, "shea butter", "70")
    expect(page.locator("#sum")).to_contain_text(re.compile(r"30\s*% is still missing"))
    fill_row(page, 1, "Candelilla wax", "25", "B")
    page.get_by_role("button", name="Write it down").click()
    # The domain's own words, and what was typed is still there.
    expect(page.locator("main")).to_contain_text("95")
    expect(page.locator(".errorlist").first).to_be_visible()
    assert page.locator("[name=lines-1-name]").input_value() == "Candelilla wax"
    assert_fits(page)
    fill_row(page, 1, "Candelilla wax", "30", "B")
    expect(page.locator("#sum")).to_contain_text("It is whole.")
    page.get_by_role("button", name="Write it down").click()
    page.wait_for_url(re.compile(r"/formulas/[0-9a-f-]{36}$"))
    expect(page.locator("h1")).to_contain_text(name)
    assert_fits(page)
    page.get_by_label("For how much").fill("1 kg")
    page.get_by_role("button", name="Work it out").click()
    # 300 g of wax are wanted and 200 g are there; of the butter there is nothing.
    expect(page.locator("main")).to_contain_text(re.compile(r"100\s*g"))
    expect(page.locator("main .tag.warn")).to_have_count(2)
    assert_well_made(page)
    page.get_by_role("link", name="Plan a batch").click()
    page.wait_for_url("**/batches/new?what=*")
    assert "formula:" in page.get_by_label("What is to be made").input_value()


def test_the_next_version_and_what_changed(
    page: Page, stick: dict[str, Any], north: Client
) -> None:
    id = north.post("formulas", stick).made()["id"]
    go(page, f"/formulas/{id}")
    page.get_by_role("link", name="Write the next version").click()
    assert page.locator("[name=lines-1-name]").input_value() == "Candelilla wax"
    # Wax at 40.00 a kilogram and oil at 40.00, of which 96 % come out: 40 ÷ 0.96.
    expect(page.locator("#sum")).to_contain_text(re.compile(r"41\.67\s*USD"))
    page.locator("[name=lines-1-percent]").fill("30")
    fill_row(page, 2, "shea butter", "10", "Cool")
    expect(page.locator("#sum")).to_contain_text(re.compile(r"60\s*% is left, and the balance"))
    expect(page.locator("#sum")).to_contain_text("never bought yet are Shea butter")
    assert_fits(page)
    page.get_by_role("button", name="Keep as the next version").click()
    page.wait_for_url(re.compile(r"/formulas/[0-9a-f-]{36}$"))
    # What the page does not show is as it was.
    kept = north.get(f"formulas/{id}").made()
    assert (kept["version"], kept["phases"][0]["lines"][1]["max_celsius"]) == (2, "60.00")
    page.get_by_role("link", name="What changed").click()
    changed = page.locator("tr.changed")
    expect(changed.nth(0)).to_contain_text(re.compile(r"Jojoba oil less by 20\s*%"))
    expect(changed.nth(1)).to_contain_text(re.compile(r"Candelilla wax more by 10\s*%"))
    expect(changed.nth(2)).to_contain_text("Shea butter new")
    assert_well_made(page)
    # Whoever still has the form of the version before is told.
    go(page, f"/formulas/{id}/next")
    north.post(f"formulas/{id}/versions", stick, If_Match="*").made()
    page.get_by_role("button", name="Keep as the next version").click()
    expect(page.locator(".errorlist, .refusal").first).to_contain_text("changed since you read it")


@pytest.fixture(scope="module")
def tinned(north: Client, shea: str) -> str:
    """The formula of what is filled into tins."""
    tin = north.material("Tin 20 g", measured_by="count")
    lines = [{"material": shea, "percent": "100"}]
    formula = {"name": "Tinned shea", "phases": [{"name": "A", "lines": lines}]}
    id = north.post("formulas", formula).made()["id"]
    product = {
        "name": "Shea in a tin",
        "formula": id,
        "fill": {"nominal": "20 g", "overfill_percent": "0"},
        "packaging": [{"material": tin, "quantity": "1 each"}],
    }
    north.post("products", product).made()
    return str(id)


def test_scaled_to_so_many_pieces(page: Page, tinned: str) -> None:
    go(page, f"/formulas/{tinned}")
    page.get_by_label("Of what").select_option(label="Shea in a tin")
    page.get_by_label("For how much").fill("2 kg")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".errorlist")).to_contain_text("How many pieces")
    page.get_by_label("For how much").fill("50")
    page.get_by_role("button", name="Work it out").click()
    # 50 times 20 g of the butter, of which there is none, and 50 tins.
    expect(page.locator("main")).to_contain_text(re.compile(r"1,000\s*g"))
    expect(page.locator("main .tag.warn").first).to_contain_text(re.compile(r"50\s*pieces"))
    assert_fits(page)


def test_without_javascript(plain: Page, shea: str) -> None:
    page, name = plain, f"Plain shea {screen_of(plain)}"
    go(page, "/formulas/new")
    page.get_by_label("What it is called").fill(name)
    fill_row(page, 0, "No such butter", "100")
    page.get_by_role("button", name="Add it up").click()
    expect(page.locator("#sum")).to_contain_text("It is whole.")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".errorlist")).to_contain_text("Nothing is called")
    fill_row(page, 0, "Shea butter", "100")
    page.get_by_role("button", name="Write it down").click()
    page.wait_for_url(re.compile(r"/formulas/[0-9a-f-]{36}$"))
    go(page, "/formulas?q=plain")
    expect(page.locator("main")).to_contain_text(name)
