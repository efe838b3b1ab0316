"""Every page there is, in a browser: on a phone in the dark, at a desk, and at twice its size.

The pages are made beforehand and handed to the browser one by one; so none is left out, and none
needs a way that leads to it.
"""

from collections.abc import Iterator
from typing import Any, Final
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, Route, ViewportSize, sync_playwright

from api.static_files import FILES
from tests.browser.conftest import launched
from tests.browser.visiting import OF_COLOUR, SIZES, assert_all_fits, assert_open_to_all
from tests.factories import open_workshop
from tests.pages.browsing import signed_in
from tests.pages.looking import ROUTES, Seen, all_pages
from tests.pages.shops import everything_under, planned_ahead, work
from tests.pages.test_queries import pages_of, without_one
from tests.pages.test_rounds import for_the_co_op

HERE: Final = "http://pages.example"
# A screen of 1280 px at 200 % has room for 640.
HALF: Final[ViewportSize] = {"width": 640, "height": 450}
# What a page says.
TEXT: Final = """() => document.querySelector("main").innerText.replace(/\\s+/g, " ")"""
# What sticks out of the page, or is cut off where it cannot be scrolled to.
CUT: Final = """() => [...document.querySelectorAll("main *, header *")]
  .filter(one => one.checkVisibility() && !one.closest(".wide, svg, .skip, datalist, option"))
  .filter(one => {
    const box = one.getBoundingClientRect();
    const clips = getComputedStyle(one).overflowX === "hidden" && one.scrollWidth > one.clientWidth;
    return box.width && (box.right > innerWidth + 1 || (box.left < -1 && box.right > 0) || clips);
  }).map(one => one.outerHTML.slice(0, 100))"""
# The letters of a plot or a picture that stand out too little from what is behind (WCAG 2.2,
# 1.4.3), which axe does not look at.
PALE: Final = """() => {
  const light = colour => colour.match(/[\\d.]+/g).slice(0, 3).map(one => one / 255)
    .map(one => one <= .04045 ? one / 12.92 : ((one + .055) / 1.055) ** 2.4)
    .reduce((sum, one, at) => sum + one * [.2126, .7152, .0722][at], 0);
  const behind = one => {
    const colour = one ? getComputedStyle(one).backgroundColor : "rgb(255, 255, 255)";
    return colour === "rgba(0, 0, 0, 0)" ? behind(one.parentElement) : colour;
  };
  return [...document.querySelectorAll("svg text")].filter(one => {
    const [low, high] = [light(getComputedStyle(one).fill), light(behind(one.closest("svg")))]
      .sort((a, b) => a - b);
    return (high + .05) / (low + .05) < 4.5;
  }).map(one => one.outerHTML.slice(0, 100));
}"""


@pytest.fixture(scope="module")
def seen(database: Any, redis_server: Any) -> dict[str, Seen]:
    """Every page as the owner of a maker and the co-op's coordinator see it, by its address."""
    shop = open_workshop()
    ids = work(shop, 0)
    planned_ahead(shop, 0)
    everything = everything_under(shop)
    also = [f"/batches/{everything.batch.id}/working", without_one(shop), *pages_of(ids)]
    found = {one.path: one for one in all_pages(signed_in(shop), of_each=1, also=also)}
    assert {one.route for one in found.values()} == set(ROUTES)
    for one in all_pages(for_the_co_op(shop), of_each=1):
        found[f"/co-op{one.path}"] = one
    return {path: one for path, one in found.items() if one.text and one.status == 200}


@pytest.fixture
def page(seen: dict[str, Seen]) -> Iterator[Page]:
    """A browser to which these pages are all there is."""

    def answer(route: Route) -> None:
        to = urlsplit(route.request.url)
        file = FILES.get(to.path.removeprefix("/static/"))
        where = f"{to.path}?{to.query}" if to.query else to.path
        if file is not None:
            route.fulfill(body=file.content, content_type=file.kind)
        elif where in seen:
            route.fulfill(body=seen[where].text, content_type="text/html; charset=utf-8")
        else:
            route.fulfill(status=204)

    with sync_playwright() as playwright, launched(playwright) as browser:
        context = browser.new_context(viewport=SIZES["phone"])
        one = context.new_page()
        one.route("**/*", answer)
        one.route("**/favicon.ico", lambda route: route.fulfill(status=204))
        yield one


def test_every_page_can_be_used_by_everybody(seen: dict[str, Seen], page: Page) -> None:
    for path in seen:
        page.emulate_media(color_scheme="light")
        page.set_viewport_size(SIZES["desk"])
        page.goto(f"{HERE}{path}")
        large = page.evaluate(TEXT)
        try:
            # Of light what only a colour can spoil is asked: all else is the same in the dark.
            assert_open_to_all(page, OF_COLOUR)
            assert page.evaluate(PALE) == []
            page.set_viewport_size(HALF)
            assert page.evaluate(CUT) == []
            assert page.evaluate(TEXT) == large
            page.emulate_media(color_scheme="dark")
            page.set_viewport_size(SIZES["phone"])
            assert_open_to_all(page)
            assert_all_fits(page)
            assert page.evaluate(PALE) == []
        except AssertionError as error:
            raise AssertionError(f"{path}: {error}") from error
