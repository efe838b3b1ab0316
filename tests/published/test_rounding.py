"""Splits, minor units and rounding against textbooks and standards."""

import json
from decimal import ROUND_HALF_UP, Decimal

import pytest

from ledger.errors import CurrencyUnknown
from ledger.money import minor_units, round_money, round_to_step, split_exactly

from .rows import Row, published_rows


@pytest.mark.parametrize("row", published_rows("rounding.csv", "largest remainder"))
def test_largest_remainder(row: Row) -> None:
    total = row.number("total_units")
    parts = split_exactly(total, row.numbers("weights"), step=Decimal(1))
    assert parts == json.loads(row.expected)
    assert sum(parts) == total


@pytest.mark.parametrize("row", published_rows("rounding.csv", "ISO 4217 minor-unit"))
def test_minor_units(row: Row) -> None:
    assert minor_units(row.inputs["currency"]) == int(row.expected)


@pytest.mark.parametrize("row", published_rows("rounding.csv", "ISO 4217 code without"))
def test_no_minor_unit(row: Row) -> None:
    with pytest.raises(CurrencyUnknown):
        round_money(Decimal(1), row.inputs["currency"])


@pytest.mark.parametrize(
    "row", published_rows("rounding.csv", "round to the nearest", "round-half-even")
)
def test_rounding(row: Row) -> None:
    assert row.agrees(round_to_step(row.number("x"), row.number("step")))


@pytest.mark.parametrize("row", published_rows("rounding.csv", "round a tie"))
def test_rounding_a_tie(row: Row) -> None:
    value, step, expected = row.number("x"), row.number("step"), json.loads(row.expected)
    assert round_to_step(value, step) == Decimal(expected["half_even"])
    assert round_to_step(value, step, ROUND_HALF_UP) == Decimal(expected["half_up"])
