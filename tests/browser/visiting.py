"""Who looks at the pages, on what screen, and what every page must stand up to."""

import re
from collections.abc import Mapping, Sequence
from types import TracebackType
from typing import Any, Final

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Browser, Page, ViewportSize, expect

from tests.api.client import PASSWORD, Client
from tests.browser.doing import heard

SIZES: Final[dict[str, ViewportSize]] = {
    "phone": {"width": 390, "height": 844},
    "desk": {"width": 1280, "height": 900},
}
# The same where no script runs.
PLAIN: Final = [f"{size}-plain" for size in SIZES]
# A story that is told on both screens, and on the large one where no script runs, too.
EVERY_WAY: Final = pytest.mark.parametrize("page", [*SIZES, "desk-plain"], indirect=True)
# What fails a page: what keeps somebody from using it.
SERIOUS: Final = {"serious", "critical"}
# What may be well in light colours and not in dark ones, or the other way round.
OF_COLOUR: Final = ("color-contrast", "link-in-text-block")
SMALLEST_TARGET_PX: Final = 48
# Opens what is folded around a form and in it, and tells of what kind its fields are.
UNFOLD: Final = """form => {
  for (let one = form; one; one = one.parentElement) if (one.tagName === "DETAILS") one.open = true;
  form.querySelectorAll("details").forEach(one => { one.open = true; });
  return Object.fromEntries([...form.elements].map(one => [one.name, one.type]));
}"""
# What can be scrolled down beside the page: a table only sideways.
SCROLLS_DOWN: Final = """() => [...document.querySelectorAll("main .wide")]
  .filter(one => one.scrollHeight > one.clientHeight)
  .map(one => `${one.scrollHeight - one.clientHeight} px: ${one.ariaLabel}`)"""
# The letters of links over which something lies, at their middle and near their lower edge.
COVERED: Final = """() => {
  const { scrollX, scrollY } = window, points = [], found = [];
  for (const link of document.querySelectorAll("main a")) {
    if (!link.checkVisibility()) continue;
    const letters = document.createRange();
    letters.selectNodeContents(link);
    for (const one of letters.getClientRects())
      for (const down of [0.5, 0.8])
        points.push([link, one.x + one.width / 2, one.y + scrollY + one.height * down]);
  }
  points.sort((a, b) => a[2] - b[2]);
  for (const [link, x, y] of points) {
    if (y < window.scrollY || y >= window.scrollY + innerHeight) window.scrollTo(0, y - 9);
    const seen = link.closest(".wide")?.getBoundingClientRect();
    if (seen && (x < seen.left || x > seen.right)) continue;
    const over = document.elementFromPoint(x, y - window.scrollY);
    if (over && !over.contains(link) && !link.contains(over) && !over.closest(".kept"))
      found.push(`${over.innerText} lies over ${link.innerText}`);
  }
  window.scrollTo(scrollX, scrollY);
  return [...new Set(found)];
}"""
# Words and figures of a table that stand on two lines; names may be of any length.
BROKEN: Final = """(longest) => {
  const found = [], part = document.createRange();
  for (const cell of document.querySelectorAll("table :is(th, td)"))
    for (const text of cell.childNodes)
      for (const word of (text.data || "").matchAll(/[^ \\n]+/g)) {
        part.setStart(text, word.index);
        part.setEnd(text, word.index + word[0].length);
        const lines = new Set([...part.getClientRects()].map(box => Math.round(box.top)));
        if (lines.size > 1 && word[0].length <= longest) found.push(word[0]);
      }
  return found;
}"""
LONGEST_WORD: Final = 14
# For what must come: a busy machine takes its time.
PATIENCE_MS: Final = 90_000


class Visit:
    """A browser's context of one person, with nothing of anybody else."""

    def __init__(
        self,
        browser: Browser,
        client: Client | None = None,
        *,
        size: str = "phone",
        javascript: bool = True,
        **how: Any,
    ) -> None:
        self.size, self.javascript = size, javascript
        self.context = browser.new_context(
            viewport=SIZES[size], java_script_enabled=javascript, **how
        )
        self.context.on("response", lambda answer: heard(answer, size, javascript))
        self.faults: list[str] = []
        if client is not None:
            self.sign_in(client.port, client.token)
            self.page = self.open(client.port)

    def sign_in(self, port: int, token: str) -> None:
        """Bring the cookie that signing in gives."""
        self.context.add_cookies([{"name": "stillroom", "value": token, "url": base_of(port)}])

    def token(self) -> str:
        """What signing in gave to this browser."""
        kept = {cookie["name"]: cookie["value"] for cookie in self.context.cookies()}
        return kept["stillroom"]

    def open(self, port: int) -> Page:
        """A page whose addresses are the server's own, and whose faults are kept."""
        page = self.context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on("console", lambda said: self._hear(said.type, said.text))
        page.base, page.visit = base_of(port), self  # type: ignore[attr-defined]
        return page

    def _hear(self, kind: str, text: str) -> None:
        # A form that was refused is an answer, and whoever goes on waits for no fragment.
        expected = ("Failed to load resource", "htmx:sendAbort", "htmx:afterRequest")
        if kind == "error" and not text.startswith(expected):
            self.faults.append(text)

    def __enter__(self) -> "Visit":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.context.close()
        if error is None:
            assert not self.faults, self.faults


def base_of(port: int) -> str:
    return f"http://127.0.0.1:{port}"


def go(page: Page, path: str) -> None:
    """Open a page, which must be there."""
    answer = page.goto(f"{page.base}{path}")  # type: ignore[attr-defined]
    assert answer is not None
    assert answer.status == 200, f"{path}: {answer.status}"


def screen_of(page: Page) -> str:
    """Which screen it is, and whether scripts run; what is made for one of them is called by it."""
    visit: Visit = page.visit  # type: ignore[attr-defined]
    return visit.size if visit.javascript else f"{visit.size}-plain"


def beside(browser: Browser, page: Page, client: Client) -> Visit:
    """Somebody else, on a screen of the same kind, in dark colours."""
    visit: Visit = page.visit  # type: ignore[attr-defined]
    how = {"size": visit.size, "color_scheme": "dark"}
    return Visit(browser, client, javascript=visit.javascript, **how)


def send(page: Page, button: str, told: str, typed: Mapping[str, str] = {}) -> None:
    """Type into the form of a button, unfolding what is folded, and send it.

    A field is named as it is sent. `told` is a pattern of what the page says then, and not before;
    and whatever it says, all of it fits.
    """
    assert not re.search(told, page.inner_text("main")), f"{told!r} is told already"
    has = "".join(f":has([name='{name}'])" for name in list(typed)[:1])
    form = page.locator(f"form:has(button:text-is('{button}')){has}").first
    kinds = form.evaluate(UNFOLD)
    for name, text in typed.items():
        field = form.locator(f"[name='{name}']")
        if kinds[name] == "select-one":
            field.select_option(text)
        elif kinds[name] == "radio":
            form.locator(f"[name='{name}'][value='{text}']").check()
        elif kinds[name] == "checkbox":
            field.check()
        else:
            field.fill(text)
    form.get_by_role("button", name=button, exact=True).click()
    expect(page.locator("main")).to_contain_text(re.compile(told))
    assert_fits(page)


def print_it(page: Page, button: str, told: str) -> None:
    """Look at a sheet that is to be printed, and come back."""
    here = page.url
    page.get_by_role("link", name=button).click()
    expect(page.locator("body > main")).to_contain_text(told)
    expect(page.locator("body > footer")).to_be_visible()
    assert_well_made(page)
    broken = page.evaluate(BROKEN, LONGEST_WORD)
    assert not broken, broken
    page.goto(here)


def sign_in(page: Page, username: str, password: str = PASSWORD) -> None:
    """Fill the form of the door, and send it."""
    page.get_by_label("User name").fill(username)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()


def come_in(page: Page, username: str, to: str = "/") -> None:
    """From the door to a page."""
    go(page, f"/sign-in?next={to}")
    sign_in(page, username)
    page.wait_for_url(f"{page.base}{to}")  # type: ignore[attr-defined]


def assert_open_to_all(page: Page, rules: Sequence[str] = ()) -> None:
    """Nothing that keeps people out, as far as a program can tell: by these rules, or by all."""
    # The program is large: it is read once for a page, however often it is asked.
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    asked = {"resultTypes": ["violations"], **({"runOnly": list(rules)} if rules else {})}
    found = page.evaluate("asked => axe.run(asked)", asked)["violations"]
    serious = [
        (one["id"], [node["html"] for node in one["nodes"]][:3])
        for one in found
        if one["impact"] in SERIOUS
    ]
    assert not serious, serious


def assert_well_made(page: Page) -> None:
    """Nothing that keeps people out, and all of it fits.

    What a page says of itself is the same on every screen: it is asked on the small one, by a
    script.
    """
    if screen_of(page) == "phone":
        assert_open_to_all(page)
    assert_all_fits(page)


def assert_fits(page: Page) -> None:
    """All of it fits; and where something is refused, nothing of that keeps people out.

    That is asked of every page as it usually is where each is looked at by itself.
    """
    if page.locator("[role=alert], .errorlist").count():
        assert_well_made(page)
    else:
        assert_all_fits(page)


def assert_all_fits(page: Page) -> None:
    """Nothing wider than the screen, nothing too small to touch or beneath something else."""
    wider = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wider <= 0, f"{wider} px wider than the screen"
    small = page.evaluate(
        """(least) => [...document.querySelectorAll(
             "button, .button, summary, nav a, input:not([type=hidden]):not([type=radio])"
             + ":not([type=checkbox]), select, textarea, main a")]
           .filter(one => one.offsetParent && !one.closest(".skip"))
           .filter(one => one.matches("button, .button, summary") || !one.closest("p, td"))
           .filter(one => one.getBoundingClientRect().height < least - 0.5)
           .map(one => one.outerHTML.slice(0, 120))""",
        SMALLEST_TARGET_PX,
    )
    assert not small, small
    scrolls = page.evaluate(SCROLLS_DOWN)
    assert not scrolls, scrolls
    covered = page.evaluate(COVERED)
    assert not covered, covered


def assert_well_made_in_the_dark(page: Page) -> None:
    """The same where the device asks for dark colours."""
    page.emulate_media(color_scheme="dark")
    assert_well_made(page)
    page.emulate_media(color_scheme="light")
