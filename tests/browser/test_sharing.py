"""From a drum that is drawn off and shared to what the makers owe each other, and its clearing."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.api.client import Client, Coop, sign_in
from tests.browser.visiting import EVERY_WAY, assert_fits, beside, go, screen_of

pytestmark = pytest.mark.xdist_group("browser")


@EVERY_WAY
def test_shared_claimed_owed_cleared(
    browser: Browser, page: Page, north: Client, shop: Coop
) -> None:
    name = f"Jojoba oil {screen_of(page)}"
    lot = north.receive(north.material(name), "10 kg", "200.00")
    share(page, lot)
    with beside(browser, page, shop["Mill Bench"]) as visit:
        claim(visit.page, name)
        go(page, "/co-op")
        assert_fits(page)
        page.get_by_role("link", name="Yes or no").click()
        assert_fits(page)
        page.get_by_role("button", name="Yes, give it").click()
        expect(page.locator("main")).to_contain_text(re.compile(r"You are owed 43\.00\s*USD"))
        dispute(visit.page)
    token = sign_in(shop.server, shop.coordinator).made()["token"]
    with beside(browser, page, Client(north.port, token)) as visit:
        go(visit.page, "/settlement")
        expect(visit.page.locator("main")).to_contain_text("Mill Bench → North Bench")
        expect(visit.page.locator("main")).to_contain_text("No way needs fewer.")
        assert_fits(visit.page)
    pay(page)


def share(page: Page, lot: str) -> None:
    """4 kg of a lot, at 21.50 a kilogram."""
    go(page, f"/lots/{lot}")
    page.get_by_role("link", name="Share it").click()
    assert_fits(page)
    page.get_by_label("How much of it").fill("4 kg")
    page.get_by_label("at a price for a kilogram or piece").check()
    page.get_by_role("button", name="Share it").click()
    expect(page.locator(".errorlist")).to_have_text("How much?")
    page.get_by_label("Price", exact=True).fill("21.50")
    page.get_by_role("button", name="Share it").click()
    page.wait_for_url("**/shares/*")
    assert_fits(page)


def claim(page: Page, name: str) -> None:
    """Too much of it, and then 2 kg."""
    go(page, "/co-op")
    assert_fits(page)
    page.get_by_role("link", name=name).click()
    expect(page.locator("main")).to_contain_text(re.compile(r"21\.5000\s*USD"))
    page.get_by_label("How much you want").fill("5 kg")
    page.get_by_role("button", name="Ask for it").click()
    expect(page.locator(".errorlist")).to_contain_text("left to give")
    page.get_by_label("How much you want").fill("2 kg")
    page.get_by_role("button", name="Ask for it").click()
    page.wait_for_url("**/claims/*")
    expect(page.locator("main")).to_contain_text("waits for an answer")
    assert_fits(page)


def dispute(page: Page) -> None:
    """What is owed for the goods, and that it is right after all."""
    go(page, "/settlement")
    expect(page.locator("main")).to_contain_text(re.compile(r"you owe\s*\d+\.\d\d\s*USD"))
    assert_fits(page)
    page.get_by_role("link", name="North Bench").first.click()
    assert_fits(page)
    page.get_by_role("link", name=re.compile("Goods")).last.click()
    page.get_by_label("Why").fill("one of the cans leaked")
    page.get_by_role("button", name="I dispute it").click()
    expect(page.locator("main")).to_contain_text("by you: one of the cans leaked")
    assert_fits(page)
    page.get_by_label("Why").fill("it was ours")
    page.get_by_role("button", name="It is right after all").click()
    expect(page.locator(".note")).to_have_count(0)


def pay(page: Page) -> None:
    """What was owed; nothing is left then."""
    go(page, "/settlement")
    (owed,) = re.findall(r"owes you\s*([0-9.]+)", page.locator("main .rows").first.inner_text())
    page.get_by_label("I was paid").check()
    page.get_by_label("The other maker").select_option(label="Mill Bench")
    page.get_by_label("How much").fill(owed)
    page.get_by_label("How, and what for").fill("bank, for the oil")
    assert_fits(page)
    page.get_by_role("button", name="Write it down").click()
    page.wait_for_url("**/movements/*")
    assert_fits(page)
    go(page, "/settlement")
    expect(page.locator("main .rows").first).to_contain_text("even")


@EVERY_WAY
def test_a_drum_is_drawn_off(page: Page, north: Client, shop: Coop) -> None:
    screen = screen_of(page)
    lot = north.receive(north.material(f"Castor oil {screen}"), "200 kg", "760.00")
    go(page, f"/lots/{lot}")
    page.get_by_role("link", name="Draw it off").click()
    page.locator("[name=draws-0-net]").fill("120 kg")
    page.locator("[name=draws-1-net]").fill("77 kg")
    page.locator("[name=draws-1-maker]").select_option(label="Mill Bench")
    page.get_by_text("Another maker paid part").click()
    assert_fits(page)
    page.get_by_role("button", name="It is drawn off").click()
    page.wait_for_url("**/decantings/*")
    expect(page.locator("main")).to_contain_text(re.compile(r"3\s*kg"))
    # 760.00 for 197 kg: each kilogram carries its part of the heel.
    expect(page.locator("main")).to_contain_text(re.compile(r"462\.94\s*USD"))
    expect(page.locator("main")).to_contain_text(re.compile(r"297\.06\s*USD"))
    assert_fits(page)
    go(page, "/deposits")
    page.get_by_label("How much").fill("25.00")
    page.get_by_label("What for").fill(f"drum {screen}")
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator("main .rows")).to_contain_text(f"drum {screen}")
    assert_fits(page)
    page.get_by_role("button", name="It came back").first.click()
    expect(page.locator("main .tag.fine").first).to_contain_text("back")


@EVERY_WAY
def test_lent_and_replaced(browser: Browser, page: Page, north: Client, shop: Coop) -> None:
    oil = north.material(f"Tamanu oil {screen_of(page)}")
    lot = north.receive(oil, "2 kg", "90.00")
    own = shop["Mill Bench"].receive(oil, "2 kg", "95.00")
    go(page, f"/lots/{lot}")
    page.get_by_role("link", name="Offer it to one maker").click()
    page.get_by_label("How much of it").fill("1 kg")
    page.get_by_label("lent: as much").check()
    assert_fits(page)
    page.get_by_role("button", name="Offer it").click()
    page.wait_for_url("**/transfers/*")
    at = page.url.removeprefix(page.base)  # type: ignore[attr-defined]
    with beside(browser, page, shop["Mill Bench"]) as visit:
        look = visit.page
        go(look, at)
        look.get_by_label("Release it at once").fill("seal whole")
        assert_fits(look)
        look.get_by_role("button", name="Yes, I take it").click()
        look.get_by_label("With which lot").select_option(own)
        assert_fits(look)
        look.get_by_role("button", name="Offer it back").click()
        look.wait_for_url("**/transfers/*")
    go(page, "/co-op")
    expect(page.locator("main")).to_contain_text("you lent it to Mill Bench")
    assert_fits(page)
    page.get_by_role("link", name="Yes or no").first.click()
    page.get_by_role("button", name="Yes, I take it").click()
    expect(page.locator("main .tag.fine").first).to_contain_text("given")


def test_without_javascript(plain: Page, shop: Coop) -> None:
    page, name = plain, f"Cade oil {screen_of(plain)}"
    mill = shop["Mill Bench"]
    lot = mill.receive(mill.material(name), "4 kg", "60.00")
    mill.post("shares", {"lot": lot, "price": "21.50", "quantity": "4 kg"}).made()
    claim(page, name)
    go(page, "/settlement/statement?month=2025-05")
    page.get_by_role("link", name="The next month").click()
    expect(page.locator("h1")).to_contain_text("1 Jun 2025")
    go(page, "/settlement")
    page.get_by_label("Up to and including").fill("2199-01-01")
    page.get_by_role("button", name="Close it for good").click()
    expect(page.locator(".errorlist")).to_contain_text("over")
