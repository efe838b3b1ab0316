"""A browser on a running server: a co-op of its own, and pages already signed in."""

import os
import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.api.client import Client, Coop, open_coop
from tests.browser.visiting import PATIENCE_MS, SIZES, Visit
from tests.running import Running

expect.set_options(timeout=PATIENCE_MS)


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
    # A sandbox cannot be made by the superuser, as whom a container may run.
    args = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as playwright:
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


@pytest.fixture(params=list(SIZES), ids=list(SIZES))
def page(request: pytest.FixtureRequest, browser: Browser, north: Client) -> Iterator[Page]:
    """A page of the maker's owner, on a phone and on a desk."""
    with Visit(browser, north, size=request.param) as visit:
        yield visit.page


@pytest.fixture
def plain(browser: Browser, north: Client) -> Iterator[Page]:
    """The same on a phone without JavaScript."""
    with Visit(browser, north, javascript=False) as visit:
        yield visit.page
