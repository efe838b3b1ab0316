"""From a complaint to the lot that it is about, its recall, the buyers, and the end of it."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.api.client import Client, Coop
from tests.browser.visiting import EVERY_WAY, assert_fits, beside, go, print_it, screen_of

pytestmark = pytest.mark.xdist_group("browser")


@EVERY_WAY
def test_complained_of_called_back_told_closed(
    browser: Browser, page: Page, north: Client, shop: Coop
) -> None:
    screen = screen_of(page)
    stall = f"stall {screen}"
    lot = north.receive(north.material(f"Shea butter {screen}"), "5 kg", "50.00")
    code = north.get(f"lots/{lot}").made()["code"]
    sale = {"lines": [{"lot": lot, "quantity": "300 g"}], "customer": stall}
    north.post("sales", sale).made()
    at_shop = {"lines": [{"lot": lot, "quantity": "200 g"}], "shop": f"shop {screen}"}
    north.post("consignments", at_shop).made()
    (to,) = [row["id"] for row in north.listed("makers") if row["name"] == "Mill Bench"]
    offer = north.post("transfers", {"maker": to, "lot": lot, "quantity": "1 kg"}).made()
    shop["Mill Bench"].post(f"transfers/{offer['id']}/acceptance", {}).made()
    complain(page, stall, code)
    page.get_by_role("link", name="Who has it, calling it back").click()
    assert_fits(page)
    page.get_by_label("Why it is called back").fill("mould in the drum")
    page.get_by_role("button", name="Call it back").click()
    page.wait_for_url("**/recalls/*")
    recall = page.url
    expect(page.locator("main")).to_contain_text("no answer yet")
    assert_fits(page)
    print_it(page, "Print the record", "mould in the drum")
    with beside(browser, page, shop["Mill Bench"]) as visit:
        answer(visit.page, code)
    tell(page, stall)
    go(page, f"/at-shops?shop=shop {screen}")
    assert_fits(page)
    page.goto(recall)
    expect(page.locator("main")).to_contain_text("answered")
    page.get_by_label("Why it is done").fill("all have answered")
    page.get_by_role("button", name="It is done").click()
    expect(page.locator("main .good")).to_contain_text("all have answered")
    assert_fits(page)
    print_it(page, "Print the record", "on consignment")


def complain(page: Page, who: str, code: str) -> None:
    """A serious event, with what the law may ask for."""
    go(page, "/complaints/new")
    assert_fits(page)
    page.get_by_label("What happened").fill("a rash on both hands")
    page.get_by_label("Yes, and it was serious").check()
    page.get_by_label("Who told it").fill(who)
    page.get_by_label("What stands on the pack").fill(code)
    page.get_by_role("button", name="Keep it").click()
    page.wait_for_url(re.compile("/complaints/[0-9a-f-]{36}"))
    expect(page.locator("main")).to_contain_text("check your local authority")
    assert_fits(page)
    go(page, "/complaints")
    assert_fits(page)
    page.get_by_role("link", name="a rash on both hands").first.click()


def answer(page: Page, code: str) -> None:
    """Another maker is told, and holds what it has."""
    go(page, "/recalls")
    assert_fits(page)
    page.get_by_role("link", name=code).click()
    page.get_by_text("Your records are not right", exact=True).click()
    assert_fits(page)
    page.get_by_role("button", name="Answer").click()
    expect(page.locator("main")).to_contain_text(re.compile(r"of that, on hold\s*1\s*kg"))


def tell(page: Page, who: str) -> None:
    """A buyer is told, and has used some up."""
    page.get_by_role("link", name="All buyers").click()
    assert_fits(page)
    page.get_by_role("link", name=who).click()
    page.get_by_label("They have answered").check()
    page.get_by_label("What became of the goods").select_option(label="used up there")
    page.get_by_label("Of which lot").select_option(index=1)
    page.get_by_label("How much").fill("100 g")
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator("main")).to_contain_text(re.compile(r"used up\s*100\s*g"))
    assert_fits(page)
