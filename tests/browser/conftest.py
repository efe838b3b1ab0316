"""A browser on a running server: a co-op of its own, and pages already signed in."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Browser, Page, Playwright, expect, sync_playwright

from tests.api.client import Client, Coop, open_coop
from tests.browser.visiting import PATIENCE_MS, SIZES, Visit, come_in
from tests.running import Running

expect.set_options(timeout=PATIENCE_MS)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What was never done is known at the end."""
    items.sort(key=lambda item: item.path.name == "test_every_act.py")


def chromium() -> str:
    """The browser's program. Fails with what to do where there is none.

    The one that draws no window of its own takes two thirds of the other's time.
    """
    for name in ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome"):
        found = shutil.which(name)
        if found:
            return found
    pytest.fail("The tests of the pages need Chromium: install Debian's package chromium.")


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """One browser for all of these tests; it ends with them, since its loop is in the way of
    others."""
    with sync_playwright() as playwright, launched(playwright) as one:
        yield one


@contextmanager
def launched(playwright: Playwright) -> Iterator[Browser]:
    """A browser that ends with what is done in it."""
    # Nobody sees the screen: to draw it as a graphics card would takes a fifth of all its time.
    args = ["--disable-gpu", "--disable-software-rasterizer"]
    # A sandbox cannot be made by the superuser, as whom a container may run.
    args += ["--no-sandbox"] if os.geteuid() == 0 else []
    one = playwright.chromium.launch(executable_path=chromium(), args=args)
    yield one
    one.close()


@pytest.fixture(scope="package")
def shop(server: Running) -> Coop:
    """Two makers; the first has what most pages show."""
    return open_coop(server, "North Bench", "Mill Bench")


@pytest.fixture(scope="package")
def north(shop: Coop) -> Client:
    return shop["North Bench"]


@pytest.fixture(scope="module")
def signed_in() -> dict[str, str]:
    """What signing in by the form gave in this file, on each screen."""
    return {}


@pytest.fixture(params=list(SIZES), ids=list(SIZES))
def page(
    request: pytest.FixtureRequest, browser: Browser, shop: Coop, signed_in: dict[str, str]
) -> Iterator[Page]:
    """A page of the maker's owner, on a phone and on a desk, and where a test asks for it without
    JavaScript.

    The first test of a file comes in by the door; the others need not knock again.
    """
    size, _, plain = request.param.partition("-")
    port = shop.server.port
    with Visit(browser, size=size, javascript=not plain) as visit:
        if size in signed_in:
            visit.sign_in(port, signed_in[size])
            yield visit.open(port)
        else:
            page = visit.open(port)
            come_in(page, shop.owners["North Bench"])
            signed_in[size] = visit.token()
            yield page


@pytest.fixture(params=list(SIZES), ids=list(SIZES))
def plain(request: pytest.FixtureRequest, browser: Browser, north: Client) -> Iterator[Page]:
    """The same on either screen without JavaScript, already signed in."""
    with Visit(browser, north, size=request.param, javascript=False) as visit:
        yield visit.page
