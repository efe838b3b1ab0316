"""What an offer at cost comes to before it is answered: what its answer then posts."""

from dataclasses import replace
from typing import Any

import pytest

from ledger.cost_formulas import choose_cost_formula
from ledger.errors import Forbidden, NotEnough
from ledger.issuing import Taken, issue
from ledger.quantities import parse_quantity
from ledger.transferring import accept_transfer, cost_at_present, offer_transfer
from tests.factories import MORNING, D, Workshop, open_workshop

# Of 1 kg for 40.00 and 5 kg for 300.00, 2 kg of the second lot.
COSTS = [("average", "113.33"), ("fifo", "100.00"), ("lot", "120.00")]


@pytest.mark.parametrize(("formula", "cost"), COSTS)
def test_what_is_told_is_what_is_charged(database: Any, formula: str, cost: str) -> None:
    giver = open_workshop()
    taker, third = (open_workshop(name, coop=giver.coop) for name in ("Mill Bench", "Quay Bench"))
    chosen = {"cost_class": "material", "formula": formula, "reason": "as it lies"}
    giver.does(choose_cost_formula, **chosen, happened_at=MORNING)
    oil = giver.material("Argan oil")
    giver.receive(oil, "1 kg", "40.00")
    lot = giver.receive(oil, "5 kg", "300.00")
    about = {"maker": taker.actor.maker, "lot": lot.id, "happened_at": MORNING}
    offer = giver.does(offer_transfer, quantity=parse_quantity("2 kg"), **about)
    for one in (giver, taker):
        told: Any = one.does(cost_at_present, transfer=offer)
        assert round(told, 2) == D(cost)
    assert third.does(cost_at_present, transfer=offer) is None, "it is not told of it"
    bench = Workshop(taker.coop, replace(taker.actor, role="bench"))
    with pytest.raises(Forbidden):
        bench.does(cost_at_present, transfer=offer)
    moved = taker.does(accept_transfer, transfer=offer.id, happened_at=MORNING)
    assert moved.amount == D(cost)
    assert taker.does(cost_at_present, transfer=moved) is None
    priced = giver.does(offer_transfer, quantity=parse_quantity("1 kg"), price=D(7), **about)
    assert taker.does(cost_at_present, transfer=priced) is None


def test_nothing_is_told_of_goods_that_are_not_free_to_give(database: Any) -> None:
    giver = open_workshop()
    taker = open_workshop("Mill Bench", coop=giver.coop)
    oil = giver.material("Argan oil")
    giver.receive(oil, "5 kg", "200.00")
    lot = giver.receive(oil, "1 kg", "40.00")
    about = {"maker": taker.actor.maker, "lot": lot.id, "happened_at": MORNING}
    offer = giver.does(offer_transfer, quantity=parse_quantity("800 g"), **about)
    assert taker.does(cost_at_present, transfer=offer) == D(32)
    spilt = [Taken(lot.id, parse_quantity("201 g"))]
    giver.does(issue, lines=spilt, purpose="gift", reason="given away", happened_at=MORNING)
    for one in (giver, taker):
        assert one.does(cost_at_present, transfer=offer) is None
    with pytest.raises(NotEnough):
        taker.does(accept_transfer, transfer=offer.id, happened_at=MORNING)
