"""Lists that are brought in: every error in its place first, and then all of it or nothing."""

import re

import pytest
from playwright.sync_api import FilePayload, Page, expect

from tests.api.client import Client
from tests.browser.visiting import (
    EVERY_WAY,
    PATIENCE_MS,
    assert_well_made,
    assert_well_made_in_the_dark,
    go,
    screen_of,
)

pytestmark = pytest.mark.xdist_group("browser")
LONG = 401
PRICES = "supplier,material,pack,price,valid_from\n"


def choose(page: Page, text: str) -> None:
    """Give a list to the page, or to that of a list to be put right, and have it tried."""
    file: FilePayload = {"name": "list.csv", "mimeType": "text/csv", "buffer": text.encode()}
    page.get_by_label("The list").set_input_files(file)
    page.get_by_role("button", name="Try it").click()
    page.wait_for_load_state()


def test_prices(page: Page, north: Client) -> None:
    screen = screen_of(page)
    material = north.material(f"Apricot oil {screen}")
    supplier = north.get(f"suppliers/{north.supplier()}").made()["name"]
    go(page, "/import")
    assert_well_made_in_the_dark(page)
    page.get_by_role("link", name="Prices of suppliers").click()
    assert_well_made(page)
    good = f"{supplier},Apricot oil {screen},5 kg,40.00,2025-01-31\n"
    choose(page, f"{PRICES}{good}{supplier},Apricot oil {screen},5 oz,4.00,1/2/2025\n")
    row = page.locator("tbody tr")
    expect(row).to_have_count(2)
    expect(row.first).to_contain_text("5 oz")
    expect(row.first).to_contain_text("fl oz")
    assert_well_made_in_the_dark(page)
    assert not north.listed("offers", material=material)
    choose(page, PRICES + good)
    expect(page.locator("tbody")).to_contain_text(re.compile(r"40\.00\s*USD"))
    assert_well_made(page)
    assert not north.listed("offers", material=material)
    page.get_by_role("button", name="Take these in").click()
    expect(page.locator(".good")).to_contain_text("All of it is taken in")
    assert len(north.listed("offers", material=material)) == 1
    long_list(page, supplier, f"Apricot oil {screen}")
    assert len(north.listed("offers", material=material)) == 1 + LONG


def long_list(page: Page, supplier: str, material: str) -> None:
    """More than somebody waits for: the page renews itself until it is tried, and taken in."""
    rows = [f"{supplier},{material},{n} kg,{n}.00,2025-01-31\n" for n in range(10, 10 + LONG)]
    go(page, "/import/prices")
    choose(page, PRICES + "".join(rows))
    page.wait_for_url("**/sent-lists/*")
    heading = page.locator("h1")
    expect(heading).to_have_text("list.csv")
    take = page.get_by_role("button", name="Take these in")
    expect(take).to_be_visible(timeout=PATIENCE_MS)
    assert_well_made_in_the_dark(page)
    take.click()
    expect(page.locator(".good")).to_contain_text("All of it is taken in", timeout=PATIENCE_MS)
    assert_well_made(page)
    go(page, "/import")
    expect(page.locator("main")).to_contain_text("Lists that you sent")
    assert_well_made(page)


@pytest.mark.parametrize("page", ["phone-plain"], indirect=True)
def test_a_long_list_is_dropped(page: Page) -> None:
    """Before it was tried, or after."""
    go(page, "/import/lots")
    choose(page, "material,quantity,value,supplier_lot\n" + "No such oil,1 kg,0,gift\n" * LONG)
    page.wait_for_url("**/sent-lists/*")
    dropped = page.url
    page.get_by_role("button", name="Drop this list").click()
    page.wait_for_url("**/import")
    gone = page.goto(dropped)
    assert gone is not None
    assert gone.status == 404


@EVERY_WAY
def test_lots_and_formulas(page: Page, north: Client) -> None:
    screen = screen_of(page)
    name = f"Almond oil {screen}"
    material = north.material(name, density="0.91 g/mL")
    go(page, "/import/lots")
    header = "material,quantity,value,supplier_lot,expires_on,released_because\n"
    choose(page, f"{header}{name},1 L,18.20,A-1,,seen\nNo such oil,1 kg,2.00,A-2,,\n")
    expect(page.locator("tbody")).to_contain_text("There is no material of this name")
    assert not north.get("lots", material=material).made()["results"]
    choose(page, f"{header}{name},1 L,18.20,A-1,2199-01-01,seen\n{name},2 kg,40.00,A-2,,\n")
    expect(page.locator("tbody")).to_contain_text(re.compile(r"910\s*g"))
    assert_well_made(page)
    assert not north.get("lots", material=material).made()["results"], "only tried"
    page.get_by_role("button", name="Take these in").click()
    expect(page.locator(".good")).to_contain_text("All of it is taken in")
    held = north.get("stock", material=material).made()["results"][0]
    assert (held["on_hand"], held["usable"], held["value"]) == (
        "2910.000000",
        "910.000000",
        "58.20",
    )

    go(page, "/import/formulas")
    header = "formula,phase,ingredient,percent,most_percent\n"
    rows = f"Rub {screen},A,{name},90,\nRub {screen},B,Nothing of the kind,10,\n"
    choose(page, header + rows)
    expect(page.locator("tbody")).to_contain_text("Nothing is called")
    choose(page, f"{header}Rub {screen},A,{name},90,\n")
    expect(page.locator("tbody")).to_contain_text("90")
    choose(page, f"{header}Rub {screen},A,{name},balance,\n")
    assert_well_made(page)
    page.get_by_role("button", name="Take these in").click()
    expect(page.locator(".good")).to_contain_text("All of it is taken in")
    assert f"Rub {screen}" in [one["name"] for one in north.listed("formulas")]


def test_without_javascript(plain: Page, north: Client) -> None:
    page, name = plain, f"Argan oil {screen_of(plain)}"
    north.material(name)
    supplier = north.get(f"suppliers/{north.supplier()}").made()["name"]
    go(page, "/import/prices")
    choose(page, f"{PRICES}{supplier},{name},5 kg,40.00,2025-01-31\n")
    page.get_by_role("button", name="Take these in").click()
    expect(page.locator(".good")).to_contain_text("All of it is taken in")
    go(page, "/import/lots")
    choose(page, f"material,quantity\n{name},1 kg\n")
    expect(page.locator("tbody")).to_contain_text("This column is missing")
    choose(page, f"material,quantity,value,supplier_lot\n{name},1 kg,0,gift\n")
    form = page.locator("form.acts").first
    body = form.evaluate("one => new URLSearchParams(new FormData(one)).toString()")
    page.get_by_role("button", name="Take these in").click()
    expect(page.locator(".good")).to_contain_text("All of it is taken in")
    # The same once more is the same act, and opens no second lot.
    before = len(north.listed("lots"))
    again = page.request.post(
        page.url,
        data=f"{body}&do=take",
        headers={"Content-Type": "application/x-www-form-urlencoded"},
        max_redirects=0,
    )
    assert again.status == 303
    assert len(north.listed("lots")) == before
    # Back leads to what stood there before, and asks nobody to send anything again.
    for _ in range(3):
        assert page.go_back() is not None
        expect(page.locator("h1")).to_be_visible()
