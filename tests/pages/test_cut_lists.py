"""Lists of Today that are cut: each says so itself, leads to all of it, and hides no other."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from formulas import today
from ledger.lots import decide
from ledger.models import Lot
from ledger.opened_lots import say_opened
from ledger.places import add_place, put_lot
from tests.factories import TODAY, Workshop, open_workshop
from tests.ordering_together import asked
from tests.pages.browsing import shown, signed_in

NOW = datetime.now(UTC).date()
LATER, SOON = NOW + timedelta(days=20), NOW + timedelta(days=5)
MORE = "There are more: they stand here once these are done."


@pytest.fixture
def shop(database: object, redis_server: object) -> Workshop:
    return open_workshop()


@pytest.fixture
def client(shop: Workshop) -> Client:
    return signed_in(shop)


def parts(client: Client) -> dict[str, str]:
    """What Today has under each of its headings."""
    page = client.get("/").content.decode()
    found = re.split(r"<h2>(.*?)</h2>", page)
    return dict(zip(found[1::2], found[2::2], strict=True))


def ending(shop: Workshop, number: int, **days: Any) -> list[Lot]:
    oil = shop.material(f"Oil {number}")
    return [shop.receive(oil, "1 kg", "5.00", **days) for _ in range(number)]


def test_what_is_to_be_tested_and_what_goes_off_each_tell_of_more(
    shop: Workshop, client: Client
) -> None:
    """Nine lots are to be tested soon, one goes off; then it is the other way round."""
    tested = ending(shop, 9, retest_on=SOON)
    (off,) = ending(shop, 1, expires_on=SOON)
    (far,) = ending(shop, 1, expires_on=NOW + timedelta(days=31))
    (none,) = ending(shop, 1)
    found = parts(client)
    assert MORE in found["To be tested again"]
    assert 'href="/lots?soon=on"' in found["To be tested again"]
    assert MORE not in found["Use soon"]
    page = shown(client.get("/lots?soon=on"))
    assert all(f"{lot.code} Oil" in page for lot in (*tested, off))
    assert not any(f"{lot.code} Oil" in page for lot in (far, none))
    assert f"test again by {SOON:%-d %b %Y}" in page
    ending(shop, 8, expires_on=SOON)
    assert 'href="/lots?soon=on"' in parts(client)["Use soon"]


def test_many_lots_that_go_off_do_not_hide_the_one_to_be_tested(
    shop: Workshop, client: Client
) -> None:
    ending(shop, today.MOST_IN_ALL + 1, expires_on=SOON)
    (tested,) = ending(shop, 1, retest_on=LATER)
    # What goes off on that very day is not tested any more.
    (both,) = ending(shop, 1, retest_on=NOW, expires_on=NOW)
    found = parts(client)
    assert tested.code in found["To be tested again"]
    assert both.code in found["Use soon"]
    assert MORE not in found["To be tested again"]


def test_a_day_that_comes_from_the_opening_is_told_as_such(shop: Workshop, client: Client) -> None:
    """Good for a week once it is open; another goes off on its own day before that."""
    oil = shop.material("Rosehip oil", use_within_days=7)
    opened, own = (
        shop.receive(oil, "1 kg", "9.00", expires_on=day) for day in (None, TODAY + timedelta(1))
    )
    for lot in (opened, own):
        shop.does(say_opened, lot=lot.id, opened_on=TODAY)
    rows = parts(client)["Use soon"].split("<li>")
    told = {lot: next(row for row in rows if lot.code in row) for lot in (opened, own)}
    assert "its day counts from the opening" in told[opened]
    assert "from the opening" not in told[own]


def test_all_that_lies_wrong_is_found_on_the_shelf(shop: Workshop, client: Client) -> None:
    """Nine lots of a shelf for what is released are rejected; a tenth lies where it may."""
    sales = shop.does(add_place, name="Sales shelf", keeps="released")
    lots = ending(shop, 10)
    for lot in lots:
        shop.does(put_lot, lot=lot.id, place=sales.id)
    for lot in lots[1:]:
        shop.does(decide, lot=lot.id, decision="reject", basis="smells of paint")
    assert 'href="/lots?misplaced=on"' in parts(client)["Out of place"]
    page = client.get("/lots?misplaced=on")
    assert [f"{lot.code} Oil" in shown(page) for lot in lots] == [False, *[True] * 9]
    assert 'href="?misplaced=on&amp;as=csv"' in page.content.decode()
    file = client.get("/lots?misplaced=on&as=csv").content.decode("utf-8-sig").splitlines()
    assert len(file) == 1 + 9
    assert "There is none" in shown(client.get("/lots?misplaced=on&status=hold"))


def test_rounds_tell_of_more_where_they_are_cut(
    shop: Workshop, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two rounds that it is asked to buy in, and may pledge in as well."""
    monkeypatch.setattr(today, "MOST", 1)
    mill = open_workshop("Mill Bench", coop=shop.coop)
    late = datetime.now(UTC) + timedelta(days=2)
    for _ in range(2):
        asked(shop, closes_at=late)
    found = parts(client)
    assert [name for name, part in found.items() if MORE in part] == [
        "Asked to buy for all",
        "Ordered together",
    ]
    assert [name for name, part in parts(signed_in(mill)).items() if MORE in part] == [
        "Ordered together"
    ]
