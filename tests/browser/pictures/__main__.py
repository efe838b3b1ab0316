"""`python -m tests.browser.pictures [ADDRESS]`: the pictures of the README, anew, beside this file.

They are of the demo: of a server that runs at ADDRESS, or of one that is started for it.
"""

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from PIL import Image
from playwright.sync_api import Page, ViewportSize, sync_playwright

from formulas.demo import people
from tests.browser.conftest import chromium
from tests.browser.visiting import SIZES
from tests.running import Running

HERE: Final = Path(__file__).parent
# So many colours are enough for pages of few, and make a small file.
COLOURS: Final = 96
DESK: Final[ViewportSize] = {"width": 1280, "height": 760}


def first_page(page: Page) -> None:
    page.goto("/")


def receiving(page: Page) -> None:
    """Four gallons, as their kilograms appear."""
    page.goto("/receive")
    for name, text in (("material", "Glycerin"), ("quantity", "4 gal"), ("price", "186")):
        page.locator(f"[name=lines-0-{name}]").fill(text)
    page.locator("[name=freight]").fill("41.30")
    page.get_by_text("19.078").first.wait_for()
    page.locator("[name=freight]").blur()
    page.evaluate("window.scrollTo(0, 0)")


def bench(page: Page) -> None:
    """An ingredient of a batch that is ready."""
    page.goto("/")
    page.get_by_role("link", name="Weigh").first.click()
    page.get_by_text("All ingredients").click()
    page.get_by_role("link", name="Decyl glucoside").click()
    page.get_by_label("Lot", exact=True).wait_for()


def formula(page: Page) -> None:
    """The table in which a next version is written."""
    page.goto("/formulas")
    page.get_by_role("link", name="Rosemary hand wash").first.click()
    page.get_by_role("link", name="Write the next version").click()
    page.locator("#sum .big").wait_for()


def trace(page: Page) -> None:
    """Where the glycerite of a quarter went."""
    page.goto("/lots?q=rosemary+glycerite&gone=on")
    page.locator("main .rows a").last.click()
    page.get_by_role("link", name="Where it came from and went").click()
    page.locator(".flow svg").wait_for()


SHOWN: Final[dict[str, tuple[Callable[[Page], None], ViewportSize]]] = {
    "today": (first_page, DESK),
    "receive": (receiving, DESK),
    "bench": (bench, SIZES["phone"]),
    "formula": (formula, {**DESK, "height": 1060}),
    "trace": (trace, DESK),
}


def main() -> None:
    """Draw all of them."""
    with server() as address, sync_playwright() as playwright:
        args = ["--no-sandbox"] if os.geteuid() == 0 else []
        browser = playwright.chromium.launch(executable_path=chromium(), args=args)
        for name, (open_page, size) in SHOWN.items():
            context = browser.new_context(viewport=size, base_url=address, color_scheme="light")
            page = context.new_page()
            sign_in(page)
            open_page(page)
            file = HERE / f"{name}.png"
            page.screenshot(path=file)
            Image.open(file).convert("RGB").quantize(COLOURS).save(file, optimize=True)
            context.close()
        browser.close()


@contextmanager
def server() -> Iterator[str]:
    """The address of a server with the demo."""
    if len(sys.argv) > 1:
        yield sys.argv[1]
        return
    started = Running(Path(tempfile.mkdtemp(prefix="stillroom-")), {"STILLROOM_DEMO": "1"})
    try:
        yield started.wait_ready(300).url
    finally:
        started.discard()


def sign_in(page: Page) -> None:
    page.goto("/sign-in")
    page.get_by_label("User name").fill(next(iter(people.PEOPLE)))
    page.get_by_label("Password").fill(people.PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")


if __name__ == "__main__":
    main()
