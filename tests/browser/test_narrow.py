"""What is read on a phone: no page wider than it, no word broken in a table, no code in two."""

import uuid

import pytest
from playwright.sync_api import Page

from tests.api.client import Client
from tests.browser.visiting import go

pytestmark = pytest.mark.xdist_group("browser")
WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
# On how many lines the text of an element stands.
LINES = """one => { const range = document.createRange(); range.selectNodeContents(one);
  return new Set([...range.getClientRects()].map(box => Math.round(box.top))).size; }"""


def test_long_names_and_short_codes_keep_their_places(page: Page, north: Client) -> None:
    north.material(f"{uuid.uuid4().hex}{'x' * 160}")
    go(page, "/materials?q=xxxx")
    assert page.evaluate(WIDE) <= 0
    lot = north.receive(north.material(f"Wax {uuid.uuid4().hex[:4]}"), "1 kg", "5.00")
    go(page, f"/lots/{lot}/label")
    marks = page.locator(".card .mark")
    assert marks.count()
    assert {one.evaluate(LINES) for one in marks.all()} == {1}
