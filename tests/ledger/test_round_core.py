"""What holds of every round, beside the core of its cost game found by another way."""

from collections.abc import Mapping
from fractions import Fraction
from itertools import combinations, product
from math import ceil, floor
from uuid import UUID

import highspy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.order_bills import bill
from ledger.order_terms import PackOffer, PackPrice, Terms
from ledger.round_pledges import Pledge, Reckoned, goods_of
from tests.ledger.toy_rounds import (
    CENT,
    HILL,
    JAR,
    LANE,
    MILL,
    NORTH,
    OIL,
    QUAY,
    SUPPLIER,
    WAX,
    D,
    Ordered,
    Orders,
    oil,
    order,
    paid,
    reckoned,
)

Costs = dict[frozenset[UUID], int]


def costs_of(found: Reckoned, planner: Orders = order) -> Costs:
    """What each group of those who take part would pay by itself, in cents."""
    wants: dict[UUID, dict[UUID, D]] = {}
    for share in found.shares:
        for line in share.lines:
            if line.quantity:
                wants.setdefault(share.maker, {})[line.pledge.material] = line.quantity
    costs = {}
    for size in range(1, len(wants) + 1):
        for group in combinations(wants, size):
            together: dict[UUID, D] = {}
            for maker in group:
                for material, quantity in wants[maker].items():
                    together[material] = together.get(material, D(0)) + quantity
            costs[frozenset(group)] = ceil(planner(together).cost * 100)
    sold = sum((share.leftover_amount for share in found.shares), D(0))
    costs[frozenset(wants)] -= int(sold * 100)
    return costs


def least_excess(costs: Costs) -> float:
    """The least that the largest excess of any group can be, by a linear program over all groups:
    zero or less is a core that is not empty."""
    whole = max(costs, key=len)
    h = highspy.Highs()  # type: ignore[no-untyped-call]
    h.silent()
    pays = {maker: h.addVariable(0, costs[frozenset({maker})]) for maker in whole}
    excess = h.addVariable(-1e9, 1e9, 1)
    for group, cost in costs.items():
        paid = h.qsum([pays[maker] for maker in group])
        h.addConstr(paid == cost) if group == whole else h.addConstr(paid - excess <= cost)
    h.run()
    return float(h.getObjectiveValue())


def excesses(shares: Mapping[UUID, int], costs: Costs) -> int:
    """The most that a group of several, but not of all, pays above its own cost."""
    groups = [group for group in costs if 1 < len(group) < len(shares)]
    return max((sum(shares[one] for one in g) - costs[g] for g in groups), default=0)


def judge(found: Reckoned, costs: Costs) -> None:
    """The split is as near to the core as any can be, and in cents as near as cents allow."""
    split = found.split
    assert split is not None
    assert split.alone == {maker: costs[frozenset({maker})] for maker in split.shares}
    if len(split.shares) > 1:
        assert float(split.least_excess) == pytest.approx(least_excess(costs), abs=1e-5)
    for group, cost in costs.items():
        pays = sum((split.exact[maker] for maker in group), Fraction(0))
        assert pays - max(Fraction(0), split.least_excess) <= cost
    assert split.core_is_empty == (split.least_excess > 0)
    downs = {maker: floor(share) for maker, share in split.exact.items()}
    loose = [maker for maker, share in split.exact.items() if share != downs[maker]]
    ways = [
        excesses(
            downs | {maker: downs[maker] + up for maker, up in zip(loose, ups, strict=True)}, costs
        )
        for ups in product((0, 1), repeat=len(loose))
        if sum(downs.values()) + sum(ups) == split.together
    ]
    assert max(0, split.largest_excess) == max(0, min(ways))
    assert split.largest_excess == excesses(split.shares, costs)


@st.composite
def rounds(draw: st.DrawFn) -> list[Pledge]:
    makers = (NORTH, MILL, QUAY, HILL, LANE)[: draw(st.integers(1, 5))]
    grams = st.integers(1, 30_000).map(D)
    price = st.none() | st.decimals(D("0.5"), D(40), places=2)
    return [
        Pledge(maker, material, draw(amount), material is JAR, draw(price), draw(st.booleans()))
        for maker in makers
        for material, amount in ((OIL, grams), (WAX, grams), (JAR, st.integers(1, 60).map(D)))
        if draw(st.booleans())
    ]


@settings(max_examples=60, deadline=None)
@given(rounds())
def test_what_holds_of_every_round(pledges: list[Pledge]) -> None:
    found = reckoned(*pledges)
    lines = [line for share in found.shares for line in share.lines]
    if found.plan is None:
        assert lines == []
        return
    for share in found.shares:
        assert 0 <= share.amount <= share.alone_cost
        assert sum(line.amount for line in share.lines) == share.amount
    assert all(line.price is None or line.pledge.accepts(line.price) for line in lines)
    # To the cent, and to the last grain.
    in_all = sum((share.amount + share.leftover_amount for share in found.shares), D(0))
    assert in_all == found.together == found.plan.cost <= found.apart
    for material, (bought, _) in goods_of(found.plan.orders).items():
        given_out = [one for one in lines if one.pledge.material == material]
        assert sum(one.quantity + one.leftover for one in given_out) == bought
    judge(found, costs_of(found))


def test_a_core_that_is_not_empty() -> None:
    """Five packs and a break: every group does worse by itself, and no split saves it more."""
    found = reckoned(*(oil(maker, 5000) for maker in (NORTH, MILL, QUAY, HILL, LANE)))
    costs = costs_of(found)
    assert least_excess(costs) < -1
    judge(found, costs)
    assert found.split is not None
    assert found.split.is_in_core
    assert all(sum(paid(found)[one] for one in group) * 100 <= costs[group] for group in costs)


def test_an_empty_core_is_said_and_its_excess_is_least() -> None:
    """Two share a pail for 40.00 and three need two: any two pay more than the 40.00 of their own,
    as 80.00 is split, and 13.34 more is the least that can be had."""
    pail = PackOffer("pail", SUPPLIER, OIL, D(5000), (PackPrice(1, D(40)),))
    free = {SUPPLIER: Terms()}

    def pails(quantities: Mapping[UUID, D]) -> Ordered:
        return Ordered(bill({pail: ceil(quantities[OIL] / 5000)}, free, CENT))

    found = reckoned(*(oil(one, 2500) for one in (NORTH, MILL, QUAY)), planner=pails, terms=free)
    costs = costs_of(found, pails)
    assert least_excess(costs) == pytest.approx(4000 / 3)
    judge(found, costs)
    assert found.split is not None
    assert found.split.core_is_empty
    assert found.split.largest_excess == 1334
    assert sorted(paid(found).values()) == [D("26.66"), D("26.67"), D("26.67")]
