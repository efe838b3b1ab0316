"""Receiving: what cannot be read says why at once, and nothing half read makes a figure."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from api.pages.reader import Reader
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in

LINE = {"lines": "1", "lines-0-material": "Glycerin", "lines-0-quantity": "16 kg"}


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    shop = open_workshop()
    shop.material("Glycerin")
    return shop


def looked(client: Any, **typed: str) -> str:
    """What the panel says while it is typed."""
    answer = client.post(
        "/receive", {**LINE, **typed, "do": "look"}, headers={"HX-Request": "true"}
    )
    assert answer.status_code == 200
    return shown(answer)


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("lines-0-price", "$186", "Price of this line: "),
        ("lines-0-price", "186.005", "Price of this line: "),
        ("freight", "12,50", "Freight: "),
        ("lines-0-quantity", "abc", "How much: "),
        ("lines-0-quantity", "1,5 kg", "How much: "),
        ("lines-0-quantity", "4", "How much: "),
        ("lines-0-quantity", "1,500 kg", "write 1500 or 1.5"),
        ("lines-0-density", "heavy", "Density of this lot: "),
    ],
)
def test_what_cannot_be_read_says_why_and_costs_nothing(
    shop: Workshop, field: str, typed: str, words: str
) -> None:
    told = looked(signed_in(shop), **{"lines-0-price": "186.00", field: typed})
    assert words in told
    assert not re.search("[0-9] USD", told)


def test_money_waits_for_every_line(shop: Workshop) -> None:
    client = signed_in(shop)
    two = {"lines": "2", "lines-1-material": "Glycerin", "freight": "8.00"}
    assert "16 kg" in looked(client)
    assert "USD" not in looked(client, freight="8.00")
    half = looked(client, **two, **{"lines-0-price": "186.00", "lines-1-price": "10.00"})
    assert "16 kg" in half
    assert "USD" not in half
    whole = {"lines-0-price": "186.00", "lines-1-price": "10.00", "lines-1-quantity": "1 kg"}
    assert "In all 204.00 USD" in looked(client, **two, **whole)


def test_a_refused_delivery_keeps_what_it_comes_to(shop: Workshop) -> None:
    answer = sent(signed_in(shop), "/receive", **LINE, **{"lines-0-price": "80.00"})
    told = shown(answer)
    assert answer.status_code == 422
    assert "5.0000 USD a kilogram" in told
    assert "Which lot of theirs is it?" in told
    assert "Who sent it?" in told
    assert "Fill this in" not in told


def test_what_came_years_ago_is_asked_once(shop: Workshop) -> None:
    client = signed_in(shop)
    typed = {**LINE, "lines-0-price": "80.00", "lines-0-supplier_lot": "G-1"}
    typed |= {"supplier": "Mill Supplies", "new_supplier": "on"}
    recent = f"{datetime.now(UTC) - timedelta(days=300):%Y-%m-%dT%H:%M}"
    assert "From Mill Supplies" in done(client, "/receive", happened_at=recent, **typed)
    old = {**typed, "happened_at": "1999-01-01T09:00"}
    assert "It came on 1 Jan 1999" in refused(client, "/receive", **old)
    assert "1 Jan 1999" in done(client, "/receive", sure="on", **old)


def test_a_small_part_of_a_coin_keeps_three_digits() -> None:
    reader = Reader(currency="USD")
    costs = ["11.26", "0.0778", "0.003125", "0.00003125", "0"]
    told = [reader.unit_cost(D(cost)).split("\N{NO-BREAK SPACE}")[0] for cost in costs]
    assert told == ["11.2600", "0.0778", "0.00312", "0.0000312", "0.0000"]


def test_a_day_within_a_sentence_is_written_as_all_days_are() -> None:
    told = Reader().dated("By lot NB34, which may be used until 2027-10-14.")
    assert told == "By lot NB34, which may be used until 14 Oct 2027."
    assert Reader().dated("note 2027-02-30, 12027-10-14") == "note 2027-02-30, 12027-10-14"
