"""A batch from its plan to what it cost, also without JavaScript; and taps that come twice."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.benches import balm, batch_of, type_weight, weigh, weighed
from tests.browser.visiting import assert_fits, go


@pytest.fixture(scope="module")
def formula(north: Client) -> dict[str, Any]:
    return balm(north)


@pytest.fixture
def batch(north: Client, formula: dict[str, Any]) -> dict[str, Any]:
    return batch_of(north, formula)


def test_from_the_plan_to_the_cost(page: Page, formula: dict[str, Any]) -> None:
    go(page, "/batches/new")
    assert_fits(page)
    page.get_by_label("What is to be made").select_option(label=formula["name"])
    page.get_by_label("How much").fill("1 kg")
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_url(re.compile(r"/batches/[0-9a-f-]{36}$"))
    assert_fits(page)
    page.get_by_role("link", name="To the bench").click()
    expect(page.locator("h1")).to_have_text("Olive oil")
    expect(page.locator(".big").first).to_contain_text(re.compile(r"800\s*g"))
    assert_fits(page)
    weigh(page, "500")
    # More of the same is wanted, so the same ingredient stays.
    expect(page.locator(".big").first).to_contain_text(re.compile(r"300\s*g"))
    weigh(page, "300.4")
    expect(page.locator("h1")).to_have_text("Beeswax")
    weigh(page, "190", "no such lot")
    expect(page.locator(".errorlist")).to_contain_text("No lot of yours has the code")
    assert page.get_by_label("On the scale").input_value() == "190"
    weigh(page, "190")
    expect(page.locator("h1")).to_have_text("Lavender oil")
    expect(page.locator("section.turn")).to_contain_text("may still go in")
    weigh(page, "5")
    page.get_by_role("button", name="That is enough").click()
    expect(page.locator("h1")).to_have_text("All of it is in")
    page.get_by_text("Take back the last weighing").click()
    page.get_by_label("Why it is taken back").fill("the wrong bottle")
    page.get_by_role("button", name="Take it back").click()
    expect(page.locator("h1")).to_have_text("Lavender oil")
    weigh(page, "6")
    page.get_by_role("button", name="That is enough").click()
    page.get_by_role("link", name="Finish it").click()
    assert_fits(page)
    page.get_by_label("What came out").fill("990 g")
    page.get_by_label("Release at once").fill("smells and looks right")
    page.get_by_role("button", name="It is done").click()
    page.wait_for_url(re.compile(r"/batches/[0-9a-f-]{36}$"))
    expect(page.locator("main")).to_contain_text(re.compile(r"990\s*g"))
    expect(page.locator(".plot svg").first).to_be_visible()
    page.get_by_role("link", name="How this came about").click()
    expect(page.locator("#working")).to_contain_text("all weighings")
    assert_fits(page)
    look_at_the_trace(page)


def look_at_the_trace(page: Page) -> None:
    page.locator("dd a[href^='/lots/']").first.click()
    page.get_by_role("link", name="Where it came from and went").click()
    page.get_by_role("link", name="What it was made of").click()
    expect(page.locator(".flow svg:visible")).to_contain_text("Beeswax")
    assert_fits(page)
    page.get_by_role("link", name="Who has it").click()
    expect(page.locator("main")).to_contain_text("within reach")
    assert_fits(page)


def test_without_javascript(plain: Page, north: Client, batch: dict[str, Any]) -> None:
    page = plain
    go(page, f"/batches/{batch['id']}/bench")
    weigh(page, "0.8 kg")
    weigh(page, "190")
    expect(page.locator("h1")).to_have_text("Lavender oil")
    weigh(page, "30")
    expect(page.locator(".errorlist")).to_contain_text("at most")
    page.get_by_text("A rule cannot be kept").click()
    page.get_by_label("Reason, if a rule is not kept").fill("it smelt of nothing")
    page.get_by_role("button", name="It is in").click()
    page.get_by_role("button", name="That is enough").click()
    page.get_by_role("link", name="Finish it").click()
    page.get_by_label("What came out").fill("1 kg")
    page.get_by_role("button", name="It is done").click()
    page.wait_for_url(re.compile(r"/batches/[0-9a-f-]{36}$"))
    expect(page.locator("main")).to_contain_text("it smelt of nothing")
    expect(page.locator("main")).to_contain_text(re.compile(r"1\s*kg"))
    assert north.get(f"batches/{batch['id']}").made()["state"] == "finished"


def test_a_second_tap_weighs_once(page: Page, north: Client, batch: dict[str, Any]) -> None:
    go(page, f"/batches/{batch['id']}/bench")
    type_weight(page, "800")
    page.get_by_role("button", name="It is in").dblclick()
    expect(page.locator("h1")).to_have_text("Beeswax")
    assert weighed(north, batch) == [800]


def test_another_lot_than_stood_there_is_there_again(
    page: Page, north: Client, batch: dict[str, Any]
) -> None:
    """Of what is added to effect the lot stands there already."""
    bench = f"/batches/{batch['id']}/bench"
    go(page, bench)
    for quantity, following in (("800", "Beeswax"), ("190", "Lavender oil")):
        weigh(page, quantity)
        expect(page.locator("h1")).to_have_text(following)
    weigh(page, "1")
    expect(page.locator(".good").first).to_contain_text("In: 1\N{NO-BREAK SPACE}g Lavender oil")
    lot = page.get_by_label("Lot", exact=True)
    page.get_by_label("On the scale").fill("2")
    suggested = lot.input_value()
    for typed in ("NB99", suggested):
        lot.fill(typed)
        go(page, f"/batches/{batch['id']}")
        go(page, bench)
        expect(lot).to_have_value(typed)
        expect(page.get_by_label("On the scale")).to_have_value("2")


def test_a_scanner_that_types_sends_nothing_before_the_scale_is_read(
    page: Page, batch: dict[str, Any]
) -> None:
    """Enter, with which it ends, leads on to the scale; also where no camera is offered."""
    go(page, f"/batches/{batch['id']}/bench")
    page.get_by_text("Something else goes in").click()
    lot = page.locator("#id_add-lot")
    lot.fill("(10)NB1")
    lot.press("Enter")
    expect(page.locator("#id_add-quantity")).to_be_focused()
    assert lot.input_value() == "NB1"
