"""From what waits today to the books where no script runs: forms and links alone do all of it."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client, Coop
from tests.browser.benches import weigh
from tests.browser.visiting import assert_all_fits, go, screen_of, send


@pytest.fixture
def salve(plain: Page, north: Client) -> dict[str, str]:
    """A salve of marula oil, of which 2 kg wait for their release, and its jars; their names."""
    name = f"Marula salve {screen_of(plain)}"
    oil, jar = (
        north.material(f"{name} oil"),
        north.material(f"{name} jar", measured_by="count"),
    )
    lot = north.receive(oil, "2 kg", "80.00", release=False)
    north.receive(jar, "60 each", "30.00")
    lines = [
        {"material": oil, "balance": True},
        {"material": scent_of(north), "to_effect": {"typical_percent": "1", "max_percent": "2"}},
    ]
    phases = [{"name": "A", "lines": lines}]
    formula = north.post("formulas", {"name": name, "phases": phases}).made()["id"]
    product = {"name": f"{name} 50 g", "formula": formula, "fill": {"nominal": "50 g"}}
    packaging = [{"material": jar, "quantity": "1 each"}]
    sold = north.post("products", {**product, "packaging": packaging}).made()["id"]
    return {"name": name, "oil": oil, "lot": lot, "formula": formula, "product": sold}


def scent_of(north: Client) -> str:
    scent = north.material("Neroli oil")
    north.receive(scent, "1 kg", "900.00")
    return scent


def test_from_today_to_the_books(
    plain: Page, north: Client, shop: Coop, salve: dict[str, str]
) -> None:
    page, code = plain, north.get(f"lots/{salve['lot']}").made()["code"]
    let_go(page, north, shop)
    release(page, salve["name"])
    batch = plan_and_weigh(page, salve["name"], code)
    finish(page)
    assert north.get(f"batches/{batch}").made()["state"] == "finished"
    bulk = page.locator("dd a[href^='/lots/']").first.get_attribute("href")
    fill(page)
    go(page, str(bulk))
    look_at_the_trace(page, code)
    price(page, salve["product"])
    look_at_the_books(page, salve["oil"])


def let_go(page: Page, north: Client, shop: Coop) -> None:
    """What another maker claimed, with a tap on the first page."""
    lot = north.receive(north.material(f"Fir wax {screen_of(page)}"), "3 kg", "90.00")
    share = north.post("shares", {"lot": lot, "price": "34.00"}).made()["id"]
    shop["Mill Bench"].post(f"shares/{share}/claims", {"quantity": "1 kg"}).made()
    go(page, "/")
    claimed = page.locator("main li", has_text=f"Fir wax {screen_of(page)}")
    claimed.get_by_role("button", name="Let it go").click()
    expect(page.locator("main")).not_to_contain_text(f"Fir wax {screen_of(page)}")
    assert_all_fits(page)


def release(page: Page, name: str) -> None:
    """A lot, found by a part of its name."""
    go(page, "/lots")
    page.get_by_label("Look for").fill(f"{name} OIL")
    page.get_by_role("button", name="Look", exact=True).click()
    page.wait_for_url("**/lots?q=*")
    page.get_by_role("link", name=f"{name} oil").click()
    certificate = {"decision": "release", "basis": "certificate agrees"}
    send(page, "So be it", "Released: certificate agrees", certificate)


def plan_and_weigh(page: Page, name: str, code: str) -> str:
    """A kilogram, with more scent than the formula allows, for a reason; the batch's id."""
    go(page, "/batches/new")
    page.get_by_label("What is to be made").select_option(label=name)
    page.get_by_label("How much").fill("1 kg")
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_url(re.compile(r"/batches/[0-9a-f-]{36}$"))
    batch = page.url.rpartition("/")[2]
    page.get_by_role("link", name="To the bench").click()
    weigh(page, "990", "no such lot")
    expect(page.locator(".errorlist")).to_contain_text("No lot of yours has the code")
    assert page.get_by_label("On the scale").input_value() == "990"
    weigh(page, "0.99 kg", code)
    expect(page.locator("h1")).to_have_text("Neroli oil")
    weigh(page, "30")
    expect(page.locator(".errorlist")).to_contain_text("at most")
    assert_all_fits(page)
    page.get_by_text("A rule cannot be kept").click()
    page.get_by_label("Reason, if a rule is not kept").fill("it smelt of nothing")
    page.get_by_role("button", name="It is in").click()
    page.get_by_text("Take back the last weighing").click()
    page.get_by_label("Why it is taken back").fill("the wrong bottle")
    with page.expect_navigation():
        page.get_by_role("button", name="Take it back").click()
    weigh(page, "6")
    page.get_by_role("button", name="That is enough").click()
    return batch


def finish(page: Page) -> None:
    page.get_by_role("link", name="Finish it").click()
    send(page, "It is done", r"Came out\s*990\s*g", {"output": "990 g", "basis": "looks right"})


def fill(page: Page) -> None:
    """Ten jars, three of which are weighed."""
    page.get_by_role("link", name="Fill it").click()
    page.get_by_role("button", name="What a piece is to weigh").click()
    expect(page.locator("#weight")).to_contain_text(re.compile(r"50\s*g"))
    filled = {"units": "10", "used": "510 g", "basis": "caps are tight"}
    send(page, "It is filled", r"Not explained\s*10\s*g", filled)
    send(page, "These are the weights", r"50\.2", {"weighings": "50.1 50.2 50.3"})


def look_at_the_trace(page: Page, code: str) -> None:
    page.get_by_role("link", name="Where it came from and went").click()
    page.get_by_role("link", name="What it was made of").click()
    expect(page.locator(".flow svg:visible")).to_contain_text(code)
    assert_all_fits(page)
    page.get_by_role("link", name="Who has it").click()
    expect(page.locator("main")).to_contain_text("within reach")
    assert_all_fits(page)


def price(page: Page, product: str) -> None:
    go(page, f"/products/{product}/price")
    page.locator("[name=channels-0-way]").select_option("price")
    page.locator("[name=channels-0-figure]").fill("9.90")
    page.get_by_role("button", name="Work it out").click()
    ladder = page.get_by_role("region", name="The ladder")
    expect(ladder).to_contain_text(re.compile(r"9\.90\s*USD"))
    expect(page.locator(".plot svg")).to_be_visible()
    assert_all_fits(page)


def look_at_the_books(page: Page, oil: str) -> None:
    """What is left of a material, opened to what it is made of, on a page of its own."""
    go(page, "/books")
    today = page.get_by_label("At the end of this day").input_value()
    page.get_by_role("button", name="Show").click()
    page.wait_for_url(f"**/books?on={today}")
    page.locator(f"a[href$='/materials/{oil}/worth?on={today}']").click()
    expect(page.locator("main")).to_contain_text(re.compile(r"came in\s*80"))
    assert_all_fits(page)
    for path in ("usage", "sold", "variances"):
        go(page, f"/books/{path}")
        page.get_by_role("button", name="Show").click()
        page.wait_for_url(f"**/books/{path}?*")
        assert_all_fits(page)


@pytest.mark.parametrize("page", ["desk-plain"], indirect=True)
def test_a_version_and_a_product_are_written_down(page: Page, north: Client) -> None:
    lines = [{"material": north.material("Rosehip oil"), "percent": "100"}]
    phases = [{"name": "A", "lines": lines}]
    formula = north.post("formulas", {"name": "Rosehip serum", "phases": phases}).made()["id"]
    go(page, f"/formulas/{formula}/next")
    page.locator("[name=process_loss_percent]").fill("4")
    page.get_by_role("button", name="Keep as the next version").click()
    page.wait_for_url(re.compile(r"/formulas/[0-9a-f-]{36}$"))
    assert north.get(f"formulas/{formula}").made()["version"] == 2
    go(page, f"/products/new?formula={formula}")
    page.get_by_label("What it is called").fill("Rosehip serum 50 g")
    page.get_by_label("What the label says").fill("50 g")
    page.get_by_role("button", name="Add it").click()
    page.wait_for_url(re.compile(r"/products/[0-9a-f-]{36}/price$"))
