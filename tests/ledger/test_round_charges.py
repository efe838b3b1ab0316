"""What was saved against ordering alone, once what came was charged."""

from uuid import uuid4

import pytest

from ledger.models import Material, RoundShare, RoundShareLine
from ledger.round_charges import Charged, Goods
from ledger.round_results import MakerResult
from tests.factories import D


@pytest.mark.parametrize(
    ("came", "saved"), [("4000", D("18.50")), ("5000", D("18.50")), ("3999", None), ("0", None)]
)
def test_what_came_short_cannot_be_held_against_all_of_it(came: str, saved: object) -> None:
    """Of 4 kg, alone for 68.00; with leftover for 8.00 beside it. 54.00 were charged, and 3.50."""
    oil = Material(id=uuid4(), name="Oil")
    lines = [RoundShareLine(material=oil, quantity=D(4000), dropped="")]
    lines.append(RoundShareLine(material=Material(id=uuid4()), quantity=D(1), dropped="too_dear"))
    share = RoundShare(alone=D(68), amount=D(46), leftover_amount=D(8), alone_orders=[])
    plan = MakerResult(uuid4(), "North Bench", share, lines)
    got = Charged([Goods(oil, D(came), D(54), D("3.50"))])
    assert (got.amount, got.later, got.paid) == (D(54), D("3.50"), D("57.50"))
    assert got.saved(plan) == saved
    assert got.saved(MakerResult(uuid4(), "North Bench", None, lines)) is None
