"""What a page says of a form of which nothing was kept."""

import re
from typing import Any

import pytest

from api.pages.unkept import MOST, Unkept, unfolded
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import sent, signed_in

WRONG = '<input aria-invalid="true">'


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_folds_around_what_is_wrong_are_open_and_no_others() -> None:
    page = f'<details class="work"><details>{WRONG}</details></details><details><p></p></details>'
    assert unfolded(page) == page.replace("<details>", "<details open>", 1).replace(
        '<details class="work">', '<details open class="work">'
    )
    already = f'<details class="work" open>{WRONG}</details>'
    assert unfolded(already) == already


def test_few_places_are_named_and_what_has_no_label_once() -> None:
    unkept = Unkept()
    marked = [
        unkept.mark(f"id-{place}", "" if place in {1, 3} else "How much") for place in (0, 1, 2, 3)
    ]
    assert marked == [True, False, False, False]
    assert [id for id, _label in unkept.first] == ["id-0", "id-1", "id-2"]
    for place in range(20):
        unkept.mark(f"more-{place}", "Price")
    assert len(unkept.first) == MOST


def test_every_place_that_is_named_is_there(shop: Workshop) -> None:
    shop.material("Glycerin")
    client = signed_in(shop)
    lines = {"lines": "2", "lines-0-material": "Glycerin", "lines-1-quantity": "4"}
    page = sent(client, "/receive", **lines, freight="much").content.decode()
    named = re.findall(
        'href="#([^"]+)">([^<]+)</a>', page.split('class="unkept"')[1].split("</div>")[0]
    )
    assert ("id_supplier", "From whom") in named
    assert ("id_lines-1-quantity", "How much") in named
    assert all(f'id="{id}"' in page for id, _label in named)
    assert page.index(" autofocus") < page.index('name="supplier"') + 400
    assert 'class="unkept"' not in client.get("/receive").content.decode()


def test_nothing_takes_the_focus_from_whoever_types(shop: Workshop) -> None:
    typed = {"do": "look", "lines": "1", "lines-0-material": "Glycerin", "lines-0-quantity": "no"}
    answer = signed_in(shop).post("/receive", typed, headers={"HX-Request": "true"})
    assert b"autofocus" not in answer.content
    # A part of a page is judged as it is typed, too.
    looked = signed_in(shop).post("/formulas/new", {"do": "look"}, headers={"HX-Request": "true"})
    assert b"autofocus" not in looked.content


def test_what_the_page_has_no_place_for_is_said_above_it(shop: Workshop) -> None:
    version = shop.formula("Soap", [(shop.material("Soap base"), "100")])
    path = f"/batches/{shop.plan(version, '1 kg').batch.id}"
    page = sent(signed_in(shop), path, do="reopen", reason="once more").content.decode()
    above = page.split('class="unkept"')[1].split("</div>")[0]
    assert " autofocus" in above
    assert "Nothing has ended this batch" in above
