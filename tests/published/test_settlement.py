"""The fewest payments against published examples; each row carries its source."""

import json
from decimal import Decimal as D

import pytest

from ledger.clearing import Payment, clear
from tests.published.rows import Row, published_rows


def net(row: Row) -> dict[str, D]:
    """What everybody is owed less what it owes."""
    if "balances" in row.inputs:
        return {str(place): D(one) for place, one in enumerate(row.inputs["balances"])}
    balances: dict[str, D] = {}
    for debt in row.inputs["debts"]:
        amount = D(debt["amount"])
        balances[debt["from"]] = balances.get(debt["from"], D(0)) - amount
        balances[debt["to"]] = balances.get(debt["to"], D(0)) + amount
    return balances


@pytest.mark.parametrize("row", published_rows("settlement.csv", "settlement"))
def test_published_settlements(row: Row) -> None:
    balances, expected = net(row), json.loads(row.expected)
    found = clear(balances)
    assert found.is_proven
    if isinstance(expected, list):
        assert found.payments == [
            Payment(one["from"], one["to"], D(one["amount"])) for one in expected
        ]
    elif isinstance(expected, int):
        assert len(found.payments) == expected
    elif "transfers" in expected:
        assert balances == {maker: D(one) for maker, one in expected["net"].items()}
        assert len(found.payments) == expected["transfers"]
    else:
        assert balances == {maker: D(one) for maker, one in expected.items()}
