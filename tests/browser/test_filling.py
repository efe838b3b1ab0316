"""Bulk into pieces, and what a few of them on the scale say."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import assert_fits, assert_well_made, go, send

pytestmark = pytest.mark.xdist_group("browser")


@pytest.fixture(scope="module")
def bulk(north: Client) -> dict[str, Any]:
    """Two kilograms of a salve, and a product of 50 g of it in a jar."""
    oil, jar = north.material("Jojoba oil"), north.material("Jar", measured_by="count")
    north.receive(oil, "2 kg", "80.00")
    north.receive(jar, "60 each", "30.00")
    lines = [{"material": oil, "percent": "100"}]
    phases = [{"name": "A", "lines": lines}]
    formula = north.post("formulas", {"name": "Jojoba salve", "phases": phases}).made()
    product = {
        "name": "Jojoba salve 50 g",
        "formula": formula["id"],
        "fill": {"nominal": "50 g"},
        "packaging": [{"material": jar, "quantity": "1 each"}],
    }
    north.post("products", product).made()
    body = {"formula": formula["id"], "batch": "2 kg", "planned_for": "2025-05-06"}
    batch = north.post("batches", body).made()
    (line,) = batch["lines"]
    weighed = {"line": line["id"], "lot": line["picks"][0]["lot"], "quantity": "2 kg"}
    north.post(f"batches/{batch['id']}/weighings", weighed).made()
    finished = {"output": "1.9 kg", "release": {"basis": "looks right"}}
    return dict(north.post(f"batches/{batch['id']}/finish", finished).made())


def test_filled_weighed_and_judged(page: Page, bulk: dict[str, Any]) -> None:
    go(page, "/fills")
    assert_fits(page)
    page.get_by_role("link", name="Fill it").click()
    assert_fits(page)
    page.get_by_label("Filled pieces").fill("15")
    page.get_by_label("Bulk that went in").fill("20 kg")
    page.get_by_role("button", name="It is filled").click()
    expect(page.locator(".errorlist").first).to_be_visible()
    page.get_by_label("Bulk that went in").fill("790 g")
    page.get_by_text("Left behind and rejected").click()
    page.get_by_label("Left in the filler").fill("25 g")
    page.get_by_label("Why it was left").fill("in the hopper")
    page.get_by_label("Release at once").fill("caps are tight")
    page.get_by_role("button", name="It is filled").click()
    page.wait_for_url(re.compile(r"/fills/[0-9a-f-]{36}$"))
    # 790 g less 15 pieces of 50 g and what was left.
    expect(page.locator("main")).to_contain_text(re.compile(r"Not explained\s*15\s*g"))
    assert_fits(page)
    rule = page.get_by_role("button", name="This rule")
    if rule.is_visible():
        # Only the first of the two screens chooses it.
        rule.click()
    expect(page.locator("main")).to_contain_text("at most 1 in 40")
    page.get_by_label("Weights, one to a line").fill("51.2\n51 g\n50.8; 51.4\ntwelve")
    page.get_by_role("button", name="These are the weights").click()
    expect(page.locator(".errorlist")).to_contain_text("5, twelve")
    weights = "51.2\n51 g\n50.8; 51.4\n51 50.9 51.3 51.1 50.7 51.2 51 50.9"
    page.get_by_label("Weights, one to a line").fill(weights)
    page.get_by_role("button", name="These are the weights").click()
    expect(page.locator("main")).to_contain_text("the lot keeps the rule")
    expect(page.locator(".plot svg").first).to_be_visible()
    expect(page.locator("main")).to_contain_text(re.compile(r"Lowest target\s*50\.\d+\s*g"))
    # A gram and a little in each of fifteen, at 80.00 for 1.9 kg.
    expect(page.locator("main")).to_contain_text(
        re.compile(r"This lot\s*15\.\d+\s*g\s*0\.6\d\s*USD")
    )
    assert_well_made(page)
    fill = page.url
    page.get_by_role("link", name="How its cost came about").click()
    expect(page.locator("#working")).to_contain_text("packaging")
    assert_fits(page)
    page.goto(fill)
    send(page, "Take it back", "nothing of it stands", {"reason": "the wrong label"})
