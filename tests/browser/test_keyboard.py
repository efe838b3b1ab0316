"""Whoever has no mouse can do everything."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.api.client import Client
from tests.browser.visiting import Visit, go, screen_of

pytestmark = pytest.mark.xdist_group("browser")

# What has the focus, as a person would name it, and whether it can be seen to have it.
FOCUSED = """() => {
  const one = document.activeElement;
  const label = one.labels?.[0];
  const told = (label?.querySelector("span") ?? label ?? one).innerText;
  return {name: told.trim(), ring: parseFloat(getComputedStyle(one).outlineWidth)};
}"""


class Keys:
    """A person at a keyboard: Tab, Enter, the space bar, and what is typed."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def to(self, name: str) -> "Keys":
        """Tab on until what is called so has the focus."""
        for _ in range(80):
            self.page.keyboard.press("Tab")
            focused = self.page.evaluate(FOCUSED)
            assert focused["ring"] >= 2, f"the focus on {focused['name']!r} cannot be seen"
            if focused["name"] == name:
                return self
        raise AssertionError(f"{name!r} is not reached with the Tab key")

    def type(self, name: str, text: str) -> "Keys":
        self.to(name)
        self.page.keyboard.type(text)
        return self

    def press(self, name: str, key: str = "Enter") -> "Keys":
        self.to(name)
        self.page.keyboard.press(key)
        return self


@pytest.fixture
def desk(browser: Browser, north: Client) -> Iterator[Page]:
    with Visit(browser, north, size="desk") as visit:
        yield visit.page


def test_from_a_delivery_to_a_finished_batch_by_the_keyboard_alone(
    desk: Page, north: Client
) -> None:
    north.material("Sesame oil")
    page, keys = desk, Keys(desk)
    go(page, "/")
    keys.press("Receive")
    page.wait_for_url("**/receive")
    keys.press("To the page itself").type("From whom", "Quay Pressings")
    keys.press("This supplier is new", "Space")
    keys.type("What came", "Sesame oil").type("How much", "5 kg").type("Price of this line", "60")
    keys.type("Their lot number", "S-1").type("Release at once, because", "certificate seen")
    keys.press("Put it on the shelf")
    page.wait_for_url("**/receipts/*")
    keys.press("Formulas")
    page.wait_for_url("**/formulas")
    keys.press("Write one down")
    page.wait_for_url("**/formulas/new")
    keys.type("What it is called", "Plain sesame").type("Ingredient", "Sesame oil")
    keys.type("How much", "the rest").press("Write it down")
    page.wait_for_url(re.compile(r"/formulas/[0-9a-f-]{36}$"))
    keys.press("Plan a batch")
    page.wait_for_url("**/batches/new?*")
    keys.type("How much", "1 kg").press("Plan it")
    page.wait_for_url(re.compile(r"/batches/[0-9a-f-]{36}$"))
    keys.press("To the bench")
    page.wait_for_url("**/bench")
    lot = page.locator("section.turn strong").first.inner_text()
    keys.type("Lot", lot.lower()).type("On the scale", "1000").press("It is in")
    expect(page.locator("h1")).to_have_text("All of it is in")
    keys.press("Finish it")
    page.wait_for_url("**/finish")
    keys.type("What came out", "980 g").type("Release at once, because", "looks right")
    keys.press("It is done")
    page.wait_for_url(re.compile(r"/batches/[0-9a-f-]{36}$"))
    expect(page.locator("main")).to_contain_text(re.compile(r"980\s*g"))


@pytest.mark.parametrize("page", ["desk", "desk-plain"], indirect=True)
def test_enter_in_a_field_finishes_a_batch(page: Page, north: Client) -> None:
    """And does not look at a split, though the button for that stands above the other."""
    name = f"Kukui oil {screen_of(page)}"
    oil = north.material(name)
    phases = [{"name": "A", "lines": [{"material": oil, "percent": "100"}]}]
    formula = north.post("formulas", {"name": f"{name}, plain", "phases": phases}).made()["id"]
    plan = {"formula": formula, "batch": "1 kg", "planned_for": "2025-05-06"}
    batch, lot = north.post("batches", plan).made(), north.receive(oil, "1 kg", "30.00")
    weighing = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": "1 kg"}
    north.post(f"batches/{batch['id']}/weighings", weighing).made()
    go(page, f"/batches/{batch['id']}/finish")
    page.get_by_label("What came out").fill("980 g")
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_contain_text(re.compile(r"Came out\s*980\s*g"))
    assert north.get(f"batches/{batch['id']}").made()["state"] == "finished"
