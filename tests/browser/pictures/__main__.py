"""`python -m tests.browser.pictures [--all FOLDER [--dark]] [ADDRESS]`: those of the README, anew.

They are of the demo: of a server that runs at ADDRESS, or of one that is started for it. With
`--all` every kind of page is drawn into a folder instead, on a phone and at a desk, to be looked
at, from the door on and as each person of the demo who is led to it; of a server that was started
for it also what the first coordinator of an empty co-op sees. `--dark` as who prefers dark pages
sees them.
"""

import argparse
import re
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from typing import Final, Literal
from urllib.parse import urlsplit

from PIL import Image
from playwright.sync_api import Browser, Page, ViewportSize, sync_playwright

from formulas.demo import people
from tests.browser.conftest import launched
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
    page.locator(".flow svg:visible").wait_for()


SHOWN: Final[dict[str, tuple[Callable[[Page], None], ViewportSize]]] = {
    "today": (first_page, {**DESK, "height": 860}),
    "receive": (receiving, DESK),
    "bench": (bench, SIZES["phone"]),
    "formula": (formula, {**DESK, "height": 1060}),
    "trace": (trace, DESK),
}


# What is no page, or would end the visit.
NO_PAGE: Final = re.compile(r"as=|/example$|^/documents/|^/sign-out|^/books/copy")
# So many of a kind are read for what they lead to.
READ: Final = 6
# Who opened a co-op in which nothing is yet.
FIRST: Final = "first-coordinator"
# Whoever works for one maker only is not led to the second.
STARTS: Final = ("/", "/makers")
LINK: Final = re.compile(r'<a [^>]*href="([/?][^"#]*)')
ID: Final = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def main() -> None:
    """Draw those of the README, or all."""
    parser = argparse.ArgumentParser(prog="tests.browser.pictures", description=__doc__)
    parser.add_argument("--all", type=Path, metavar="FOLDER", help="every page, in both widths")
    parser.add_argument("--dark", action="store_true", help="dark pages, with --all")
    parser.add_argument("address", nargs="?", default="", help="of a server with the demo")
    given = parser.parse_args()
    with (
        server(given.address) as address,
        sync_playwright() as playwright,
        launched(playwright) as browser,
    ):
        if given.all:
            draw_all(browser, address, given.all, "dark" if given.dark else "light")
        else:
            draw_shown(browser, address)


def draw_shown(browser: Browser, address: str) -> None:
    """The pictures of the README, beside this file."""
    for name, (open_page, size) in SHOWN.items():
        context = browser.new_context(viewport=size, base_url=address, color_scheme="light")
        page = context.new_page()
        sign_in(page, next(iter(people.PEOPLE)))
        open_page(page)
        file = HERE / f"{name}.png"
        page.screenshot(path=file)
        Image.open(file).convert("RGB").quantize(COLOURS).save(file, optimize=True)
        context.close()


def draw_all(
    browser: Browser, address: str, folder: Path, scheme: Literal["dark", "light"]
) -> None:
    """One page of each kind that links lead to, whole, on every screen.

    What one owner was led to is not drawn of the next; who coordinates has pages of its own.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for screen, size in SIZES.items():
        owners: set[str] = set()
        for person in (*people.PEOPLE, FIRST):
            context = browser.new_context(viewport=size, base_url=address, color_scheme=scheme)
            page = context.new_page()
            page.goto("/sign-in")
            page.screenshot(path=folder / f"sign-in.{screen}.png", full_page=True)
            if sign_in(page, person):
                drawn = owners if person in people.OWNERS.values() else set[str]()
                draw_what_follows(page, drawn, folder / person.removeprefix("demo-"), screen)
            context.close()


def draw_what_follows(page: Page, drawn: set[str], folder: Path, screen: str) -> None:
    """Every kind of page that is not drawn yet, into files whose names tell their addresses.

    Some of a kind lead further than its first: of each a few are read, and one is drawn.
    """
    folder.mkdir(exist_ok=True)
    waiting, read = list(STARTS), Counter[str]()
    for path in waiting:
        bare = path.partition("?")[0]
        kind = ID.sub("ID", bare.strip("/")).replace("/", ".") or "today"
        read[kind] += 1
        if read[kind] > READ:
            continue
        if kind not in drawn:
            drawn.add(kind)
            page.goto(path)
            page.screenshot(path=folder / f"{kind}.{screen}.png", full_page=True)
        for link in map(unescape, LINK.findall(page.request.get(path).text())):
            to = link if link.startswith("/") else f"{bare}{link}"
            if to not in waiting and not NO_PAGE.search(to):
                waiting.append(to)


@contextmanager
def server(address: str) -> Iterator[str]:
    """The address of a server with the demo."""
    if address:
        yield address
        return
    started = Running(Path(tempfile.mkdtemp(prefix="stillroom-")), {"STILLROOM_DEMO": "1"})
    try:
        started.wait_ready(300)
        named = ("--name", "River Makers", "--currency", "USD", "--time-zone", "UTC")
        who = ("--coordinator", FIRST, "--password-env", "PASSWORD")
        started.manage("open_coop", *named, *who, PASSWORD=people.PASSWORD)
        yield started.url
    finally:
        started.discard()


def sign_in(page: Page, person: str) -> bool:
    """Go in by the door; whether it opened."""
    page.goto("/sign-in")
    page.get_by_label("User name").fill(person)
    page.get_by_label("Password").fill(people.PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    return urlsplit(page.url).path != "/sign-in"


if __name__ == "__main__":
    main()
