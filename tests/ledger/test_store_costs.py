"""What a store has and what is wanted of it are never told as the same when they are not."""

from uuid import UUID

import pytest

from ledger.costing import Layer
from ledger.errors import NotEnough
from ledger.explained_stock import OF_STOCK
from ledger.store_costs import StoreCosts, StoreDraw
from tests.factories import D

MATERIAL, LOT = UUID(int=1), UUID(int=2)


@pytest.mark.parametrize(
    ("wanted", "there", "told"),
    [
        ("100.004", "100", "100.01 g is wanted and only 100 g is there"),
        ("100", "99.996", "100 g is wanted and only 99.99 g is there"),
        ("1500", "1499.9", "1.5 kg is wanted and only 1.499 kg is there"),
    ],
)
def test_what_is_wanted_is_more_than_there_is(wanted: str, there: str, told: str) -> None:
    layers = {MATERIAL: [Layer(str(LOT), D(there), D(7))]}
    costs = StoreCosts({MATERIAL: "average"}, layers, set())
    with pytest.raises(NotEnough, match=told) as refused:
        costs.of([StoreDraw(MATERIAL, LOT, D(wanted))])
    facts = refused.value.facts
    assert (facts["wanted"], facts["available"]) == (D(wanted), D(there)), "as they are"


@pytest.mark.parametrize(
    ("short", "told"), [("0.001", "0.01 g"), ("8", "8 g"), ("8.121", "8.13 g")]
)
def test_what_is_short_is_not_told_as_less(short: str, told: str) -> None:
    facts = {"on": "2025-05-06", "lot": str(LOT), "code": "N-1", "short": short, "unit": "g"}
    refusal = OF_STOCK["holding_not_negative_on_any_day"](facts)
    assert f"overdrawn by {told}:" in str(refusal)
