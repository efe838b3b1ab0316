"""What waits on the first page, each with the act that resolves it; and the way of who begins."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.api.client import Client, Coop, open_coop
from tests.api.test_alerts import waited
from tests.browser.visiting import PLAIN, SIZES, Visit, assert_fits, assert_well_made, go
from tests.running import Running

pytestmark = pytest.mark.xdist_group("browser")
BEFORE = "2025-05-02T09:00:00Z"


@pytest.fixture(scope="module")
def young(server: Running) -> Coop:
    """A co-op in which nothing was done yet."""
    return open_coop(server, "New Bench", "Near Bench")


def step(page: Page, button: str) -> None:
    """Go where the guide leads next."""
    go(page, "/")
    page.locator(".steps").get_by_role("link", name=button).click()


def weigh_and_finish(page: Page) -> None:
    lot = page.locator("section.turn strong").first.inner_text()
    page.get_by_label("Lot", exact=True).fill(lot)
    page.get_by_label("On the scale").fill("500")
    page.get_by_role("button", name="It is in").click()
    page.get_by_role("link", name="Finish it").click()
    page.get_by_label("What came out").fill("490 g")
    page.get_by_role("button", name="It is done").click()
    page.wait_for_url(re.compile(r"/batches/[0-9a-f-]{36}$"))


@pytest.mark.parametrize("way", [*SIZES, *PLAIN])
def test_who_begins_is_led_to_the_first_finished_batch(
    browser: Browser, server: Running, way: str
) -> None:
    """In a co-op of its own each time, since only an empty one has these steps."""
    size, _, plain = way.partition("-")
    beginner = open_coop(server, "First Bench")["First Bench"]
    with Visit(browser, beginner, size=size, javascript=not plain) as visit:
        page = visit.page
        go(page, "/")
        expect(page.locator(".steps li")).to_have_count(6)
        expect(page.locator(".steps .done")).to_have_count(0)
        assert_fits(page)
        step(page, "Add one")
        page.get_by_label("Name", exact=True).fill("Apricot oil")
        page.get_by_role("button", name="Add it").click()
        page.wait_for_url(re.compile(r"/materials/[0-9a-f-]{36}$"))
        step(page, "Receive")
        page.get_by_label("From whom").fill("Quay Pressings")
        page.get_by_label("This supplier is new").check()
        page.get_by_label("What came").fill("Apricot oil")
        page.get_by_label("How much").fill("2 kg")
        page.get_by_label("Price of this line").fill("30")
        page.get_by_label("Their lot number").fill("A-1")
        page.get_by_role("button", name="Put it on the shelf").click()
        page.wait_for_url("**/receipts/*")
        step(page, "Release it")
        page.get_by_label("Release it").check()
        page.get_by_label("Because", exact=True).first.fill("certificate agrees")
        page.get_by_role("button", name="So be it").click()
        expect(page.locator("main")).to_contain_text("Released: certificate agrees")
        step(page, "Write one down")
        page.get_by_label("What it is called").fill("Plain apricot")
        page.locator("[name=lines-0-name]").fill("Apricot oil")
        page.locator("[name=lines-0-percent]").fill("100")
        page.get_by_role("button", name="Write it down").click()
        page.wait_for_url(re.compile(r"/formulas/[0-9a-f-]{36}$"))
        step(page, "Plan one")
        page.get_by_label("How much").fill("500 g")
        page.get_by_role("button", name="Plan it").click()
        page.wait_for_url(re.compile(r"/batches/[0-9a-f-]{36}$"))
        go(page, "/")
        expect(page.locator(".steps .done")).to_have_count(5)
        assert_well_made(page)
        step(page, "Weigh")
        weigh_and_finish(page)
        go(page, "/")
        expect(page.locator(".steps")).to_have_count(0)
        expect(page.locator("main")).to_contain_text("Waiting to be released")


def waiting(young: Coop, name: str) -> dict[str, Any]:
    """A claim, a lot to be tested again and low stock of one material, for who has it."""
    new, near = young["New Bench"], young["Near Bench"]
    oil = new.material(name)
    lot = new.receive(oil, "3 kg", "90.00", retest_on="2025-06-01")
    body = {"lot": new.receive(oil, "3 kg", "90.00"), "price": "34.00", "happened_at": BEFORE}
    share = new.post("shares", body).made()["id"]
    near.post(f"shares/{share}/claims", {"quantity": "1 kg", "happened_at": BEFORE}).made()
    (own,) = [one["id"] for one in new.listed("makers") if one["name"] == new.maker_name]
    round = {"name": f"Round of {name}", "closes_at": "2199-01-01T12:00:00Z", "buyer": own}
    new.post("order-rounds", round).made()
    new.change("PUT", f"watches/{oil}", {"reorder_point": "40 kg"}).made()
    waited(new, "alerts?state=open&kind=low_stock", oil)
    return {"lot": lot, "shared": body["lot"]}


def found_since(maker: Client, name: str) -> None:
    """A batch was planned with nothing of its oil there, of which some has come since."""
    oil = maker.material(name)
    phases = [{"name": "A", "lines": [{"material": oil, "percent": "100"}]}]
    formula = maker.post("formulas", {"name": f"{name}, made", "phases": phases}).made()["id"]
    day = str(datetime.now(UTC).date() + timedelta(days=2))
    maker.post("batches", {"formula": formula, "batch": "1 kg", "planned_for": day}).made()
    maker.receive(oil, "2 kg", "30.00")


def decline(row: Any) -> None:
    row.get_by_text("Decline", exact=True).click()
    row.get_by_label("Why not").fill("promised already")
    row.get_by_role("button", name="Decline it").click()
    expect(row).to_have_count(0)


def row(page: Page, heading: str, text: str | re.Pattern[str]) -> Any:
    """The row of a list that says so, under its heading."""
    return page.locator(f"h2:has-text('{heading}') + ul li", has_text=text)


def test_what_waits_is_answered_otherwise(browser: Browser, young: Coop) -> None:
    """Declined, put off, taken, answered without holding; and looked for in the store again."""
    new, near, name = young["New Bench"], young["Near Bench"], "Apple seed oil"
    waiting(young, name)
    found_since(new, f"{name} wash")
    (own,) = [one["id"] for one in near.listed("makers") if one["name"] == new.maker_name]
    lot = near.receive(near.material(f"{name}, pressed"), "9 kg", "90.00")
    for quantity in ("2 kg", "3 kg"):
        near.post("transfers", {"maker": own, "lot": lot, "quantity": quantity}).made()
    with Visit(browser, new) as visit:
        page = visit.page
        go(page, "/")
        decline(row(page, "Claimed from what you share", name))
        taken = row(page, "Offered to you", re.compile(r"2\s*kg"))
        taken.get_by_role("button", name="Take it").click()
        expect(taken).to_have_count(0)
        decline(row(page, "Offered to you", re.compile(r"3\s*kg")))
        low = row(page, "Have a look", name).first
        low.get_by_role("button", name="In a week").click()
        expect(low).to_have_count(0)
        short = row(page, "What was lacking is here", f"{name} wash")
        short.get_by_role("button", name="Look again in the store").click()
        expect(short).to_have_count(0)
        near.post("recalls", {"lot": lot, "reason": "a wrong label", "depth": "retail"}).made()
        go(page, "/")
        told = row(page, "Called back by another maker", name)
        told.get_by_role("button", name="Only answer").click()
        expect(told).to_have_count(0)
        assert_fits(page)


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_what_waits_is_settled_with_a_tap(browser: Browser, young: Coop, size: str) -> None:
    new, near, name = young["New Bench"], young["Near Bench"], f"Almond oil for the {size}"
    made = waiting(young, name)
    with Visit(browser, new, size=size) as visit:
        page = visit.page
        go(page, "/")
        claimed = row(page, "Claimed from what you share", name)
        expect(claimed).to_contain_text(re.compile(r"Near Bench: 1\s*kg"))
        assert_fits(page)
        claimed.get_by_text("Decline", exact=True).click()
        claimed.get_by_role("button", name="Let it go").click()
        expect(claimed).to_have_count(0)
        assert near.get(f"lots/{made['shared']}").made()["status"] == "released"
        low = row(page, "Have a look", name)
        low.get_by_role("button", name="Seen").click()
        expect(low).to_have_count(0)
        row(page, "Ordered together", name).get_by_role("link", name="Pledge").click()
        page.wait_for_url("**/order-rounds/*")
        go(page, "/")
        again = row(page, "To be tested again", name).first
        again.get_by_role("link", name="Tested").click()
        assert_fits(page)
        page.get_by_label("It is still good").check()
        page.get_by_label("To be tested again on").fill("2199-01-01")
        page.locator("#retest").get_by_label("Because").fill("looks and smells right")
        page.get_by_role("button", name="Keep what was found").click()
        expect(page.locator("main")).to_contain_text("1 Jan 2199")
        page.locator("#opening").get_by_label("Opened on").fill("2025-05-20")
        page.get_by_role("button", name="I opened it").click()
        expect(page.locator("main")).to_contain_text("20 May 2025")
        go(page, "/")
        expect(row(page, "To be tested again", name)).to_have_count(0)
    reason = {"reason": "a wrong label", "depth": "retail", "happened_at": BEFORE}
    new.post("recalls", {"lot": made["shared"], **reason}).made()
    with Visit(browser, near, size=size) as visit:
        page = visit.page
        go(page, "/")
        told = row(page, "Called back by another maker", name)
        expect(told).to_contain_text("New Bench: a wrong label")
        assert_fits(page)
        told.get_by_role("button", name="Hold it, and answer").click()
        expect(told).to_have_count(0)
        assert near.get(f"lots/{made['shared']}").made()["status"] == "hold"
