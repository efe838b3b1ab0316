"""A batch from its plan to what it cost; taps that come twice, and a network that goes."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.api.client import Client
from tests.browser.visiting import assert_well_made, go


@pytest.fixture(scope="module")
def balm(north: Client) -> dict[str, Any]:
    """A balm of oil, wax, and scent to effect, all of it in store."""
    oil, wax, scent = (north.material(name) for name in ("Olive oil", "Beeswax", "Lavender oil"))
    for material, quantity in ((oil, "90 kg"), (wax, "20 kg"), (scent, "9 kg")):
        north.receive(material, quantity, "100.00")
    lines = [
        {"material": oil, "percent": "80"},
        {"material": wax, "balance": True},
        {"material": scent, "to_effect": {"typical_percent": "1", "max_percent": "2"}},
    ]
    made = north.post("formulas", {"name": "Hand balm", "phases": [{"name": "A", "lines": lines}]})
    return dict(made.made())


@pytest.fixture
def batch(north: Client, balm: dict[str, Any]) -> dict[str, Any]:
    body = {"formula": balm["id"], "batch": "1 kg", "planned_for": "2025-05-06"}
    return dict(north.post("batches", body).made())


def weigh(page: Page, quantity: str, lot: str = "") -> None:
    if not lot:
        lot = page.locator("section.turn strong").first.inner_text()
    page.get_by_label("Lot", exact=True).fill(lot.lower())
    page.get_by_label("On the scale").fill(quantity)
    page.get_by_role("button", name="It is in").click()


def test_from_the_plan_to_the_cost(page: Page, balm: dict[str, Any]) -> None:
    go(page, "/batches/new")
    assert_well_made(page)
    page.get_by_label("What is to be made").select_option(label="Hand balm")
    page.get_by_label("How much").fill("1 kg")
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_url(re.compile(r"/batches/[0-9a-f-]{36}$"))
    assert_well_made(page)
    page.get_by_role("link", name="To the bench").click()
    expect(page.locator("h1")).to_have_text("Olive oil")
    expect(page.locator(".big").first).to_contain_text(re.compile(r"800\s*g"))
    assert_well_made(page)
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
    assert_well_made(page)
    page.get_by_label("What came out").fill("990 g")
    page.get_by_label("Release at once").fill("smells and looks right")
    page.get_by_role("button", name="It is done").click()
    page.wait_for_url(re.compile(r"/batches/[0-9a-f-]{36}$"))
    expect(page.locator("main")).to_contain_text(re.compile(r"990\s*g"))
    expect(page.locator(".plot svg")).to_be_visible()
    page.get_by_role("link", name="How this came about").click()
    expect(page.locator("#working")).to_contain_text("all weighings")
    assert_well_made(page)
    look_at_the_trace(page)


def look_at_the_trace(page: Page) -> None:
    page.locator("dd a").click()
    page.get_by_role("link", name="Where it came from and went").click()
    page.get_by_role("link", name="What it was made of").click()
    expect(page.locator(".flow svg:visible")).to_contain_text("Beeswax")
    assert_well_made(page)
    page.get_by_role("link", name="Who has it").click()
    expect(page.locator("main")).to_contain_text("within reach")
    assert_well_made(page)


def test_without_javascript(plain: Page, batch: dict[str, Any]) -> None:
    page = plain
    go(page, f"/batches/{batch['id']}/bench")
    weigh(page, "0.8 kg")
    expect(page.locator("h1")).to_have_text("Beeswax")
    page.get_by_text("A rule cannot be kept").click()
    go(page, "/batches?state=planned")
    expect(page.locator("#found")).to_contain_text(batch["code"])


def test_a_second_tap_weighs_once(page: Page, north: Client, batch: dict[str, Any]) -> None:
    go(page, f"/batches/{batch['id']}/bench")
    lot = page.locator("section.turn strong").first.inner_text()
    page.get_by_label("Lot", exact=True).fill(lot)
    page.get_by_label("On the scale").fill("800")
    page.get_by_role("button", name="It is in").dblclick()
    expect(page.locator("h1")).to_have_text("Beeswax")
    assert len(north.get(f"batches/{batch['id']}").made()["weighings"]) == 1


def test_what_was_typed_outlives_a_lost_network(
    page: Page, north: Client, batch: dict[str, Any]
) -> None:
    go(page, f"/batches/{batch['id']}/bench")
    page.context.set_offline(True)
    weigh(page, "800")
    expect(page.locator(".kept")).to_contain_text("No network.")
    assert_well_made(page)
    page.context.set_offline(False)
    # The browser says that the network is there again; otherwise the button does it.
    expect(page.locator("h1")).to_have_text("Beeswax")
    assert len(north.get(f"batches/{batch['id']}").made()["weighings"]) == 1
    assert page.evaluate("localStorage.getItem('stillroom.pending')") == "[]"


def test_what_was_measured_and_what_was_not_sent_yet_is_kept_too(
    page: Page, north: Client, batch: dict[str, Any]
) -> None:
    go(page, f"/batches/{batch['id']}/bench")
    page.get_by_label("On the scale").fill("799")
    page.get_by_text("Something was measured").click()
    page.get_by_label("What it showed").fill("5.6")
    page.context.set_offline(True)
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator(".kept")).to_contain_text("No network.")
    page.context.set_offline(False)
    page.wait_for_load_state()
    expect(page.locator(".kept")).to_have_count(0)
    (measured,) = north.get(f"batches/{batch['id']}").made()["measurements"]
    assert measured["measure"] == "ph"
    # The page was loaded anew meanwhile, and is once more.
    for _ in range(2):
        assert page.get_by_label("On the scale").input_value() == "799"
        page.reload()
    assert page.get_by_label("What it showed").input_value() == ""


def test_an_answer_that_was_lost_is_asked_for_again(
    page: Page, north: Client, batch: dict[str, Any]
) -> None:
    """The server weighed it, but the phone never heard: it sends again, and nothing is doubled."""
    go(page, f"/batches/{batch['id']}/bench")

    def lose(route: Any) -> None:
        route.fetch()
        route.abort()

    page.route("**/bench", lose, times=1)
    weigh(page, "800")
    expect(page.locator(".kept")).to_be_visible()
    page.get_by_role("button", name="Send it now").click()
    expect(page.locator("h1")).to_have_text("Beeswax")
    assert len(north.get(f"batches/{batch['id']}").made()["weighings"]) == 1
