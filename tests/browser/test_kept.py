"""What is typed at the bench outlives a lost network, whoever comes next; and lots are scanned."""

import re
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.api.client import Client, Coop
from tests.api.people import add_person, join
from tests.browser.benches import balm, batch_of, type_weight, weigh, weighed
from tests.browser.visiting import (
    SIZES,
    Visit,
    assert_fits,
    assert_well_made,
    assert_well_made_in_the_dark,
    come_in,
    go,
    sign_in,
)

KEPT = ".kept li"
PENDING = "JSON.parse(localStorage.getItem('stillroom.kept') || '[]').length"
# A camera that shows a black picture, and a reader of codes that reads what it is told to.
CAMERA = """
  window.read = "";
  window.BarcodeDetector = class { async detect() { return read ? [{ rawValue: read }] : []; } };
  navigator.mediaDevices.getUserMedia = async () => {
    const canvas = document.createElement("canvas");
    const paint = () => canvas.getContext("2d").fillRect(0, 0, 9, 9);
    setInterval(paint, 50);
    window.camera = canvas.captureStream();
    return camera;
  };
"""
CAMERA_IS_ON = "camera.getTracks().some(track => track.readyState === 'live')"


@pytest.fixture(scope="module")
def formula(north: Client) -> dict[str, Any]:
    return balm(north)


@pytest.fixture
def batch(north: Client, formula: dict[str, Any]) -> dict[str, Any]:
    return batch_of(north, formula)


@pytest.fixture
def bench(page: Page, batch: dict[str, Any]) -> Page:
    """The page of the batch, which sends what waits when it is told to, and not by the clock."""
    page.add_init_script("window.setInterval = () => 0;")
    go(page, f"/batches/{batch['id']}/bench")
    return page


def test_what_was_typed_outlives_a_lost_network(
    bench: Page, north: Client, batch: dict[str, Any]
) -> None:
    page, other = bench, bench.context.new_page()
    other.goto(f"{page.base}/lots")  # type: ignore[attr-defined]
    page.context.set_offline(True)
    type_weight(page, "500")
    # The same tap is the same thing, and what is typed after it is another.
    page.get_by_role("button", name="It is in").dblclick()
    expect(page.locator(".kept")).to_contain_text("No network.")
    expect(page.locator(KEPT)).to_have_count(1)
    page.get_by_role("button", name="It is in").click()
    weigh(page, "300")
    expect(page.locator(KEPT).first).to_contain_text(re.compile("Olive oil.* 500 .*"))
    expect(page.locator(KEPT)).to_have_count(2)
    weigh(page, "30000")
    page.once("dialog", lambda asked: asked.accept())
    page.locator(KEPT).last.get_by_role("button", name="Withdraw it").click()
    expect(page.locator(KEPT)).to_have_count(2)
    assert_well_made_in_the_dark(page)
    page.context.set_offline(False)
    # The browser says that the network is there again, and nothing is being typed. Whichever tab
    # sends it, it is done once, and only the page where it was typed is shown anew.
    expect(page.locator("h1")).to_have_text("Beeswax")
    assert other.url.endswith("/lots")
    expect(page.locator(".kept")).to_have_count(0)
    assert weighed(north, batch) == [300, 500]
    assert page.evaluate(PENDING) == 0


def test_what_was_measured_and_what_was_not_sent_yet_is_kept_too(
    bench: Page, north: Client, batch: dict[str, Any]
) -> None:
    page = bench
    page.get_by_label("On the scale").fill("799")
    page.get_by_text("Something was measured").click()
    page.get_by_label("What it showed").fill("5.6")
    page.context.set_offline(True)
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator(".kept")).to_contain_text("No network.")
    page.context.set_offline(False)
    # What is being typed is not taken away.
    expect(page.locator(".kept")).to_contain_text("Sent:")
    (measured,) = north.get(f"batches/{batch['id']}").made()["measurements"]
    assert measured["measure"] == "ph"
    for _ in range(2):
        assert page.get_by_label("On the scale").input_value() == "799"
        page.reload()
    assert page.get_by_label("What it showed").input_value() == ""
    # So it is on the other pages of the bench.
    go(page, f"/batches/{batch['id']}/checks")
    page.get_by_label("Of what").fill("kettle 2, cleaned")
    page.get_by_label("as it should be", exact=True).check()
    page.reload()
    page.context.set_offline(True)
    page.get_by_role("button", name="I have looked").click()
    expect(page.locator(KEPT)).to_contain_text("kettle 2, cleaned · as it should be")
    page.context.set_offline(False)
    expect(page.locator("#checked + .rows")).to_contain_text("kettle 2, cleaned")
    expect(page.locator(".kept")).to_have_count(0)


def test_an_answer_that_was_lost_is_asked_for_again(
    bench: Page, north: Client, batch: dict[str, Any]
) -> None:
    """The server weighed it, but the phone never heard: it sends again, and nothing is doubled."""
    page = bench

    def lose(route: Any) -> None:
        route.fetch()
        route.abort()

    key = page.locator("[name=form_key]").first.input_value()
    page.route("**/bench", lose, times=1)
    weigh(page, "500")
    expect(page.locator(".kept")).to_be_visible()
    weigh(page, "300")
    expect(page.locator("h1")).to_have_text("Beeswax")
    # A form that was done stands open in a page that came back, and says something else now.
    page.evaluate("key => { for (const one of keyFields()) one.value = key; }", key)
    weigh(page, "190")
    expect(page.locator(KEPT)).to_contain_text("saved once already, with other words")
    expect(page.get_by_role("button", name="Put it right")).to_have_count(0)
    # For how long a key is known the server says; what is older is not sent by itself.
    page.evaluate("() => change(mine()[0].key, { at: 0, refused: undefined, reused: undefined })")
    page.evaluate("sendQuietly()")
    expect(page.locator(KEPT)).to_contain_text("waited for more than six days")
    assert weighed(north, batch) == [300, 500]


def test_only_an_answer_about_what_was_typed_ends_its_waiting(
    bench: Page, north: Client, batch: dict[str, Any]
) -> None:
    page, statuses = bench, [429]
    page.route("**/bench", lambda route: route.fulfill(status=statuses[-1]))
    weigh(page, "80", "no such lot")
    expect(page.locator(".kept")).to_contain_text("It was not taken yet.")
    for status in (403, 409, 503):
        statuses.append(status)
        with page.expect_response("**/bench"):
            page.get_by_role("button", name="Send it now").click()
        expect(page.locator(KEPT)).to_contain_text("no such lot")
    with page.expect_response("**/bench"):
        go(page, "/receive")
    page.get_by_label("How much").fill("4 gal")
    page.unroute("**/bench")
    # It is refused while something else is typed, which stays.
    page.get_by_role("button", name="Send it now").click()
    expect(page.locator(KEPT)).to_contain_text("No lot of yours has the code")
    assert page.url.endswith("/receive")
    assert page.get_by_label("How much").input_value() == "4 gal"
    page.get_by_role("button", name="Put it right").click()
    expect(page.locator(".errorlist")).to_contain_text("No lot of yours has the code")
    expect(page.locator(".kept")).to_have_count(0)
    assert_fits(page)
    weigh(page, page.get_by_label("On the scale").input_value())
    expect(page.locator("main")).to_contain_text(re.compile(r"In:\s*80\s*g"))
    expect(page.locator(".kept")).to_have_count(0)
    assert weighed(north, batch) == [80]
    assert page.evaluate(PENDING) == 0


@pytest.mark.parametrize("size", SIZES)
def test_what_somebody_else_typed_waits_for_them(
    browser: Browser, shop: Coop, north: Client, batch: dict[str, Any], size: str
) -> None:
    owner, other = shop.owners["North Bench"], add_person(shop)
    join(shop, other, "North Bench", "bench")
    with Visit(browser, size=size) as visit:
        page = visit.open(shop.server.port)
        bench = f"/batches/{batch['id']}/bench"
        come_in(page, owner, bench)
        visit.context.set_offline(True)
        weigh(page, "800")
        expect(page.locator(KEPT)).to_be_visible()
        # Meanwhile the session ended.
        visit.context.clear_cookies(name="stillroom")
        visit.context.set_offline(False)
        page.get_by_role("link", name="Sign in").click()
        expect(page.locator("main")).to_contain_text("waits until whoever typed it signs in")
        assert_fits(page)
        sign_in(page, other)
        page.wait_for_url(f"**{bench}")
        expect(page.locator("main")).to_contain_text("waits until whoever typed it signs in")
        expect(page.locator(KEPT)).to_have_count(0)
        assert weighed(north, batch) == []
        assert page.evaluate(PENDING) == 1
        visit.context.clear_cookies()
        come_in(page, owner, bench)
        expect(page.locator("h1")).to_have_text("Beeswax")
        assert weighed(north, batch) == [800]
        assert page.evaluate(PENDING) == 0


def test_a_lot_is_scanned(page: Page, batch: dict[str, Any]) -> None:
    page.add_init_script(CAMERA)
    go(page, f"/batches/{batch['id']}/bench")
    lot, video = page.get_by_label("Lot", exact=True), page.locator("video")
    code = page.locator("section.turn strong").first.inner_text()
    opening = page.get_by_role("button", name="Scan its code")
    # It is off once it is closed, and when one goes on to another field.
    opening.click()
    expect(video).to_be_visible()
    assert_well_made(page)
    page.get_by_role("button", name="Close the camera").click()
    expect(video).to_have_count(0)
    assert not page.evaluate(CAMERA_IS_ON)
    opening.click()
    expect(video).to_be_visible()
    page.get_by_label("On the scale").fill("800")
    expect(video).to_have_count(0)
    assert not page.evaluate(CAMERA_IS_ON)
    opening.click()
    expect(video).to_be_visible()
    assert page.evaluate(CAMERA_IS_ON)
    page.evaluate("code => { read = code; }", f"(10){code}")
    expect(video).to_have_count(0)
    assert not page.evaluate(CAMERA_IS_ON)
    assert lot.input_value() == code
    expect(page.get_by_label("On the scale")).to_be_focused()
    # A scanner that types ends with Enter: the scale is read first, and the form is not sent.
    page.get_by_label("On the scale").fill("")
    lot.fill(f"(10){code}")
    lot.press("Enter")
    expect(page.get_by_label("On the scale")).to_be_focused()
    assert lot.input_value() == code
    page.get_by_label("On the scale").fill("800")
    page.get_by_role("button", name="It is in").click()
    expect(page.locator("h1")).to_have_text("Beeswax")
    # Without a camera the code is typed.
    page.evaluate("() => { navigator.mediaDevices.getUserMedia = () => Promise.reject(); }")
    opening.click()
    expect(page.locator(".told")).to_contain_text("type the lot's code")
    expect(opening).to_have_count(0)
