"""The page that ends a count: lots beyond those that it has room for, and what came meanwhile."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from html import unescape
from typing import Any
from unittest.mock import patch

import pytest
from django.test import Client

from api.pages import count_closing
from ledger.issuing import Taken, sell
from ledger.models import Lot
from ledger.quantities import parse_quantity
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in, typed_in


@pytest.fixture
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


@pytest.fixture(autouse=True)
def room_for_one() -> Iterator[None]:
    with patch.object(count_closing, "LINES", 1):
        yield


def plain(words: str) -> str:
    return " ".join(words.replace("\xa0", " ").split())


def lots_of(shop: Workshop) -> list[Lot]:
    """Three lots of 100 g each."""
    clay = shop.material("Clay")
    return [shop.receive(clay, "100 g", "1.00") for _ in range(3)]


def sheet_of(client: Client) -> str:
    done(client, "/counts", place="Cellar")
    found = re.search(r"/counts/[0-9a-f-]{36}", client.get("/counts").content.decode())
    assert found
    return found[0]


def read(client: Client, path: str, found: dict[Lot, str]) -> None:
    """Each of these lots read twice, and the same both times."""
    for _ in range(2):
        done(client, path, **{f"found_{lot.id}": grams for lot, grams in found.items()})


def typed(client: Client, path: str, lot: Lot, cause: str = "spill", **more: str) -> dict[str, str]:
    """The form that closes a sheet, with a cause for the one lot that has room of its own."""
    own = {f"{lot.id}-0-cause": cause, f"{lot.id}-0-reason": "it fell over"}
    return {**typed_in(client, path, "state"), **own, **more}


def test_lots_beyond_those_of_the_page_are_explained_by_one_cause(shop: Workshop) -> None:
    """Of 100 g each, 40, 30 and 120 g are found: the first by itself, the others together."""
    lots, client = lots_of(shop), signed_in(shop)
    path = sheet_of(client)
    read(client, path, dict(zip(lots, ("40", "30", "120"), strict=True)))
    end = f"{path}/close"
    page = plain(shown(client.get(end)))
    assert f"2 more lots that differ {lots[1].code} -70 g and 1 more · All of them" in page
    assert "What there is too much of was found again" in page
    first = typed(client, end, lots[0], rest_cause="shrink")
    assert "Say how" in refused(client, end, **first)
    assert "explain" in refused(client, end, **{**first, "rest_cause": ""})
    page = plain(done(client, end, **{**first, "rest_reason": "nobody knows"}))
    assert page.count("nobody knows: ") == 2
    for lot, left in zip(lots, ("40 g", "30 g", "120 g"), strict=True):
        assert left in plain(shown(client.get(f"/lots/{lot.id}")))


def test_what_is_refused_of_a_lot_beyond_them_names_it_and_nothing_typed_is_lost(
    shop: Workshop,
) -> None:
    """The third lot was read later than the first, and 80 g of it were sold since."""
    lots, client = lots_of(shop), signed_in(shop)
    path = sheet_of(client)
    read(client, path, {lots[0]: "40"})
    read(client, path, {lots[1]: "30", lots[2]: "60"})
    now = datetime.now(UTC)
    sold = [Taken(lots[2].id, parse_quantity("80 g"))]
    shop.does(sell, lines=sold, customer="stall 4", happened_at=now)
    end = f"{path}/close"
    told = typed(client, end, lots[0], rest_cause="shrink", rest_reason="nobody knows")
    answer = sent(client, end, **told)
    assert answer.status_code == 422
    page = answer.content.decode()
    rest = plain(unescape(re.sub(r"<[^>]+>", " ", page.partition("2 more lots")[2])))
    assert f"{lots[2].code}: Only 20 g of the lot {lots[2].code} is left" in rest
    assert page.count('value="it fell over"') == page.count('value="nobody knows"') == 1


def test_of_lots_that_are_all_too_much_it_is_said_that_they_were_found(shop: Workshop) -> None:
    lots, client = lots_of(shop), signed_in(shop)
    path = sheet_of(client)
    read(client, path, dict(zip(lots, ("40", "130", "120"), strict=True)))
    end = f"{path}/close"
    page = client.get(end).content.decode()
    choice = re.findall(r'<select name="rest_cause".*?</select>', page, re.DOTALL)[0]
    assert re.findall(r'value="(\w*)"', choice) == ["", "found"]
    assert "What there is too much of" not in page
    told = typed(client, end, lots[0], rest_cause="found", rest_reason="behind the door")
    assert plain(done(client, end, **told)).count("behind the door: ") == 2


def test_what_somebody_counted_meanwhile_is_looked_at_before_it_is_explained(
    shop: Workshop,
) -> None:
    """The last lot alone differs; then the first two do, which come before it on the sheet."""
    lots, client = lots_of(shop), signed_in(shop)
    path = sheet_of(client)
    read(client, path, {lots[0]: "100", lots[1]: "100", lots[2]: "60"})
    end = f"{path}/close"
    told = typed(client, end, lots[2], rest_cause="shrink", rest_reason="nobody knows")
    read(client, path, {lots[0]: "90", lots[1]: "80"})
    assert "Somebody counted meanwhile" in refused(client, end, **told)
    page = sent(client, end, **told).content.decode()
    assert 'value="it fell over"' in page
    own, rest = (plain(shown_in(page, part)) for part in (0, 1))
    assert lots[2].code in own
    assert f"{lots[0].code} -10 g and 1 more" in rest
    (state,) = re.findall(r'name="state" value="(\w+)"', page)
    read(client, path, {lots[2]: "50"})
    assert "Somebody counted meanwhile" in refused(client, end, **{**told, "state": state})
    done(client, end, **{**told, "state": typed_in(client, end, "state")["state"]})
    for lot, left in zip(lots, ("90 g", "80 g", "50 g"), strict=True):
        assert left in plain(shown(client.get(f"/lots/{lot.id}")))


def shown_in(page: str, part: int) -> str:
    """The words of one of the cards of a page."""
    return unescape(re.sub(r"<[^>]+>", " ", page.split('<section class="card">')[part + 1]))
