"""From what a planned batch lacks to an order that came, and a round of ordering together."""

import re
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.api.client import Client, Coop, sign_in
from tests.browser.visiting import (
    EVERY_WAY,
    PLAIN,
    SIZES,
    assert_fits,
    assert_well_made,
    assert_well_made_in_the_dark,
    beside,
    go,
    screen_of,
    send,
)

pytestmark = pytest.mark.xdist_group("browser")


def offered(maker: Client, material: str, **facts: Any) -> None:
    """A pack of 5 kg that a new supplier sells, cheaper from 25 kg on, with freight."""
    supplier = maker.supplier()
    day = {"valid_from": "2025-01-01", **facts}
    terms = {"freight_kind": "flat", "freight": "12", **day}
    maker.post(f"suppliers/{supplier}/terms", terms).made()
    breaks = [{"at_least": "25 kg", "price": "30.00"}]
    pack = {"supplier": supplier, "material": material, "pack": "5 kg", "price": "40.00"}
    maker.post("offers", {**pack, "breaks": breaks, **day}).made()


def arrived(buyer: Client, material: str) -> str:
    """What was ordered of a material has come as it was ordered, with 12.00 of freight; the id of
    its receipt."""
    (order,) = buyer.listed("orders", material=material, state="open")
    (line,) = order["lines"]
    came = {"material": material, "order_line": line["id"], "quantity": "25 kg"}
    body = {
        "supplier": order["supplier"],
        "lines": [{**came, "supplier_lot": "B-1", "price": line["price"]}],
        "charges": [{"kind": "freight", "amount": "12.00", "spread_by": "mass"}],
        "release": {"basis": "certificate seen"},
    }
    return str(buyer.post("receipts", body).made()["id"])


def handed_out(page: Page, buyer: Client, other: Client, material: str) -> None:
    """From the page of a round, as soon as its goods have come; and what is billed for them later.

    Of 2.47 for 25 kg the other maker pays 1.16 for its 11.7 kg.
    """
    receipt = arrived(buyer, material)
    page.reload()
    page.get_by_role("link", name="Hand out what came").click()
    expect(page.locator("main")).to_contain_text("Mill Bench")
    assert_fits(page)
    page.get_by_role("button", name="Hand it out").click()
    expect(page.locator("main .tag.fine")).to_contain_text("handed out")
    assert_fits(page)
    assert other.stock(material)["on_hand"] != "0"
    freight = {"kind": "freight", "amount": "2.47", "spread_by": "mass"}
    buyer.post(f"receipts/{receipt}/charges", freight).made()
    page.get_by_role("link", name="Bills that came later").click()
    send(page, "Share it", "F 12 of the carrier", {"note": "F 12 of the carrier"})
    expect(page.locator("main section", has_text="F 12")).to_contain_text(re.compile(r"1\.\d\d"))


def assert_prints(page: Page) -> None:
    """The eight weeks stand on a sheet of A4 that is turned, and none of them beyond its edge."""
    sheet = page.pdf(format="A4", prefer_css_page_size=True)
    wide, high = (float(side) for side in re.findall(rb"/MediaBox \[0 0 (\S+) (\S+)\]", sheet)[0])
    assert wide > high
    size = page.viewport_size
    assert size is not None
    page.emulate_media(media="print")
    # So many pixels are between the margins of a sheet of 297 mm, and of one that stays upright.
    for wide_px in (1047, 718):
        page.set_viewport_size({"width": wide_px, "height": 700})
        assert page.evaluate("document.documentElement.scrollWidth") <= wide_px
        beyond = (
            "[...document.querySelectorAll('.wide')].filter(o => o.scrollWidth > o.clientWidth)"
        )
        assert page.evaluate(f"{beyond}.length") == 0
    page.emulate_media(media="screen")
    page.set_viewport_size(size)


@pytest.mark.parametrize("page", [*SIZES, *PLAIN], indirect=True)
def test_from_need_to_shelf(page: Page, north: Client) -> None:
    screen = screen_of(page)
    name = f"Rice bran wax {screen}"
    wax = north.material(name)
    offered(north, wax)
    lines = [{"material": wax, "percent": "100"}]
    body = {"name": f"Wax melts {screen}", "phases": [{"name": "A", "lines": lines}]}
    formula = north.post("formulas", body).made()["id"]
    day = page.evaluate("new Date(Date.now() + 9 * 864e5).toISOString().slice(0, 10)")
    plan = {"formula": formula, "batch": "22 kg", "planned_for": day}
    north.post("batches", plan).made()

    go(page, "/order")
    page.get_by_role("link", name=name).click()
    expect(page.locator("main .card")).to_contain_text(re.compile(r"22\s*kg"))
    assert_fits(page)
    assert_prints(page)
    page.get_by_role("link", name="Find the cheapest way to buy it").click()
    page.get_by_role("button", name="Find the cheapest way").click()
    # Five packs at 30.00 and 12.00 of freight; the least number of packs that covers it.
    expect(page.locator("main")).to_contain_text(re.compile(r"5 . 5 kg"))
    expect(page.locator("main")).to_contain_text(re.compile(r"162\.00\s*USD"))
    assert_well_made_in_the_dark(page)
    page.get_by_role("button", name="Write these orders").click()
    page.wait_for_url("**/orders/*")
    assert_fits(page)
    page.get_by_role("link", name="It came").click()
    # What is to come stands there already; only the lot's number is missing.
    assert page.get_by_label("What came").input_value() == name
    assert page.get_by_label("How much").input_value() == "25 kg"
    page.get_by_label("Their lot number").fill("W-1")
    page.get_by_label("Release at once").fill("certificate seen")
    assert_fits(page)
    page.get_by_role("button", name="Put it on the shelf").click()
    page.wait_for_url("**/receipts/*")
    go(page, "/orders")
    expect(page.locator("#found li").first).to_contain_text("done")
    assert_fits(page)
    page.locator("#found a").first.click()
    page.wait_for_url("**/orders/*-*")
    expect(page.locator("main")).to_contain_text(re.compile(r"25\s*kg of\s*25\s*kg"))


def opened_round(look: Page, name: str, buyer: str) -> str:
    """The address of a round that the coordinator opens."""
    go(look, "/order-rounds")
    look.get_by_label("What it is called").fill(name)
    look.get_by_label("Who orders for all").select_option(label=buyer)
    assert_fits(look)
    look.get_by_role("button", name="Open it").click()
    look.wait_for_url("**/order-rounds/*-*")
    assert_fits(look)
    return look.url.removeprefix(look.base)  # type: ignore[attr-defined]


def declined(page: Page, look: Page, at: str) -> None:
    """Who was to buy for all would rather not, and the coordinator asks another."""
    go(page, at)
    page.get_by_text("Decline", exact=True).click()
    page.get_by_label("Why not").fill("no room for the drums")
    page.get_by_role("button", name="Decline it").click()
    page.wait_for_load_state()
    look.reload()
    expect(look.locator("main")).to_contain_text("no room for the drums")
    look.get_by_label("Who orders for all and receives").select_option(label="North Bench")
    look.get_by_role("button", name="Ask it").click()
    expect(look.locator("main")).to_contain_text("North Bench orders for all")


def pledge(page: Page, name: str) -> None:
    """Too little of it, which is taken back, and then 13 kg."""
    send(page, "Pledge it", "at your fair share", {"material": name, "quantity": "2 kg"})
    send(page, "Take it back", "Nothing yet")
    page.get_by_label("What", exact=True).fill(name)
    page.get_by_label("How much").fill("13 kg")
    page.get_by_label("At most").fill("9.50")
    assert_fits(page)
    page.get_by_role("button", name="Pledge it").click()
    expect(page.get_by_role("button", name="Take it back")).to_be_visible()
    assert re.search(r"13\s*kg", page.inner_text("main"))
    assert not re.search(r"11\.7", page.inner_text("main")), "the other's own"
    assert_fits(page)


def wait_for_the_reckoning(page: Page) -> None:
    for _ in range(120):
        if page.inner_text("main .tag >> nth=0") == "worked out":
            return
        page.wait_for_timeout(500)
        page.reload()


@EVERY_WAY
def test_together(browser: Browser, page: Page, north: Client, shop: Coop) -> None:
    screen = screen_of(page)
    mill = shop["Mill Bench"]
    name = f"Cocoa butter {screen}"
    butter = north.material(name)
    offered(north, butter, open=True)
    token = sign_in(shop.server, shop.coordinator).made()["token"]
    with beside(browser, page, Client(north.port, token)) as visit:
        look, first = visit.page, "Mill Bench" if screen == "phone" else "North Bench"
        at = opened_round(look, f"Autumn {screen}", first)
        if first == "Mill Bench":
            with beside(browser, page, mill) as asked:
                declined(asked.page, look, at)
        body = {"material": butter, "quantity": "11.7 kg"}
        mill.post(f"order-rounds{at[13:]}/pledges", body).made()
        go(page, at)
        pledge(page, name)
        look.reload()
        look.get_by_role("button", name="Close the round").click()
        # Its time is not over: whoever closes it sooner is asked once.
        look.get_by_label("It is so").check()
        look.get_by_role("button", name="Close the round").click()
        look.wait_for_load_state()
    wait_for_the_reckoning(page)
    # Alone three packs at 40.00 and 12.00; together five at 30.00 share one freight.
    main = page.locator("main")
    expect(main).to_contain_text(re.compile(r"132\.00\s*USD"))
    expect(main).to_contain_text("No maker would pay less alone")
    assert not re.search(r"11\.7", page.inner_text("main"))
    assert_well_made(page)
    page.get_by_role("button", name="We buy for all").click()
    page.get_by_role("button", name="Write these orders").click()
    expect(main.get_by_role("link", name="What is still to come")).to_be_visible()
    assert_fits(page)
    handed_out(page, north, mill, butter)


def test_without_javascript(plain: Page) -> None:
    page = plain
    go(page, "/order/plan?until=2199-01-01")
    expect(page.locator(".errorlist")).to_contain_text("weeks")
    go(page, "/orders?state=late")
    page.get_by_label("That are").select_option("closed")
    page.get_by_role("button", name="Show").click()
    page.wait_for_url("**/orders?state=closed")


def test_tables_as_files(plain: Page, north: Client) -> None:
    line = {"material": north.material("Squalane"), "pack": "5 kg", "price": "90.00"}
    order = {"supplier": north.supplier(), "lines": [line]}
    number = north.post("orders", order).made()["number"]
    for path in ("/order?as=csv", "/orders?as=csv", "/settlement/statement?as=csv"):
        answer = plain.request.get(f"{plain.base}{path}")  # type: ignore[attr-defined]
        assert answer.status == 200
        assert answer.headers["content-type"].startswith("text/csv")
    written = plain.request.get(f"{plain.base}/orders?as=csv").text()  # type: ignore[attr-defined]
    (told,) = [line for line in written.splitlines() if line.startswith(number)]
    assert "Squalane,5000,0,g" in told
