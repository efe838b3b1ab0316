"""A product from its formula to the prices of two kinds of buyers, and a dearer material."""

import csv
import io
import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import assert_fits, assert_well_made, go

pytestmark = pytest.mark.xdist_group("browser")


@pytest.fixture(scope="module")
def stick(north: Client) -> dict[str, Any]:
    """A formula of one butter at 12.00 a kilogram, and tubes at 0.40."""
    butter, tube = north.material("Mango butter"), north.material("Tube", measured_by="count")
    north.receive(butter, "10 kg", "120.00")
    north.receive(tube, "100 each", "40.00")
    phases = [{"name": "A", "lines": [{"material": butter, "percent": "100"}]}]
    return dict(north.post("formulas", {"name": "Mango stick", "phases": phases}).made())


def test_a_product_is_priced_and_a_dearer_material_tried(page: Page, stick: dict[str, Any]) -> None:
    go(page, f"/products/new?formula={stick['id']}")
    assert_fits(page)
    name = f"Mango stick {page.viewport_size}"[:24]
    page.get_by_label("What it is called").fill(name)
    page.get_by_label("What the label says").fill("50 g")
    page.get_by_label("Packed in").first.fill("Tube")
    page.get_by_role("button", name="Add it").click()
    page.wait_for_url(re.compile(r"/products/[0-9a-f-]{36}/price$"))
    # 50 g at 12.00 a kilogram, and a tube.
    expect(page.locator(".figures")).to_contain_text(re.compile(r"1\.00\s*USD"))
    assert_fits(page)
    page.get_by_text("How today's cost came about").click()
    expect(page.locator("main")).to_contain_text(re.compile(r"Mango butter\s*50\s*g"))
    page.locator("[name=channels-0-way]").select_option("price")
    page.locator("[name=channels-0-figure]").fill("0.90")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".refusal")).to_contain_text("less than the piece costs")
    assert_fits(page)
    page.get_by_label("Show prices below cost").check()
    page.get_by_label("To be paid whatever is sold").fill("150")
    page.get_by_role("button", name="Work it out").click()
    ladder = page.get_by_role("region", name="The ladder")
    expect(ladder).to_contain_text(re.compile(r"Wholesale below cost\s*0\.90\s*USD"))
    # A margin of 60 % on 1.00 is 2.50, of which 1.50 is left: a hundred pieces pay 150.
    expect(ladder).to_contain_text(re.compile(r"Retail\s*2\.50\s*USD"))
    expect(page.locator("main")).to_contain_text(re.compile(r"100\s*pieces"))
    expect(page.locator("main")).to_contain_text("never")
    expect(page.locator(".plot svg")).to_be_visible()
    assert_well_made(page)
    with page.expect_download() as download:
        page.get_by_role("link", name="CSV").first.click()
    with open(download.value.path(), encoding="utf-8-sig", newline="") as file:
        rows = list(csv.reader(io.StringIO(file.read())))
    assert [row[1] for row in rows] == ["Without tax, USD", "0.9", "2.5"]
    go(page, "/products")
    expect(page.locator("main")).to_contain_text(name)
    assert_fits(page)
    page.get_by_role("link", name="If a material cost more").click()
    assert_fits(page)
    page.get_by_label("If this").select_option(label="Mango butter")
    page.get_by_label("or changes by, percent").fill("50")
    page.get_by_role("button", name="Try it").click()
    expect(page.get_by_role("region", name="Products")).to_contain_text(
        re.compile(r"1\.0000\s*USD\s*1\.3000\s*USD\s*0\.3000\s*USD")
    )
    assert_well_made(page)
    assert_opens_in_place(page)


def assert_opens_in_place(page: Page) -> None:
    """What a piece would cost more, on the page that told it."""
    asked = page.url
    page.get_by_role("region", name="Products").get_by_role("link", name="0.3000").first.click()
    working = page.locator(".opened .working")
    expect(working).to_contain_text("So much more")
    expect(working).to_contain_text("Mango butter")
    assert page.url == asked, "it opens in place"
    assert_fits(page)
