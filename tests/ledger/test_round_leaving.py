"""Who leaves a round whose price is too high, in which order, and what a budget does to all."""

import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from decimal import Decimal
from itertools import combinations
from uuid import UUID

import pytest

from ledger.order_bills import bill
from ledger.order_terms import PackOffer, PackPrice, Terms
from ledger.round_pledges import Dropped, Pledge, Reckoned, WhyDropped
from ledger.round_reckoning import reckon, within_budget
from tests.ledger.toy_rounds import (
    CENT,
    HILL,
    MILL,
    NORTH,
    OFFERS,
    OIL,
    QUAY,
    SUPPLIER,
    D,
    Ordered,
    Orders,
    Toy,
    oil,
    paid,
    reckoned,
)

# Their kilograms tell every group of them by its sum.
SIZES = {NORTH: 1, MILL: 2, QUAY: 4, HILL: 8}


def priced(price_of: Callable[[frozenset[UUID]], str]) -> Orders:
    """A planner by what a kilogram costs each group."""
    by_kg = {
        sum(SIZES[one] for one in group): D(price_of(frozenset(group)))
        for size in range(1, 5)
        for group in combinations(SIZES, size)
    }

    def planner(quantities: Mapping[UUID, Decimal]) -> Ordered:
        grams = quantities[OIL]
        kg = int(grams) // 1000
        pack = PackOffer(grams, SUPPLIER, OIL, grams, (PackPrice(1, by_kg[kg] * kg),))
        return Ordered(bill({pack: 1}, {SUPPLIER: Terms()}, CENT))

    return planner


def four(**highest: str) -> list[Pledge]:
    names = {"north": NORTH, "mill": MILL, "quay": QUAY, "hill": HILL}
    return [oil(id, 1000 * SIZES[id], highest.get(name, "")) for name, id in names.items()]


def left(found: Reckoned) -> list[UUID]:
    return [one.pledge.maker for one in found.dropped]


# All four pay 10.00 a kilogram, as each does alone; any three 1.00, any two 7.00.
FALLING = priced(lambda group: {1: "10", 2: "7", 3: "1", 4: "10"}[len(group)])


def test_of_two_one_leaves_since_the_price_changes_for_the_other() -> None:
    assert left(reckoned(*four(quay="5", hill="2"), planner=FALLING)) == [HILL]
    assert left(reckoned(*four(quay="2", hill="5"), planner=FALLING)) == [QUAY]


def test_of_those_that_are_as_far_above_the_first_leaves() -> None:
    assert left(reckoned(*four(mill="5", quay="5", hill="5"), planner=FALLING)) == [MILL]


def test_of_many_half_leave_at_once() -> None:
    """The two that remain pay 5.50 and 15.50 for their 1 kg and 2 kg."""
    pledges = four(north="9", mill="8", quay="5", hill="2")
    found = reckoned(*pledges, planner=FALLING)
    assert left(found) == [HILL, QUAY]
    assert paid(found) == {NORTH: D("5.50"), MILL: D("15.50")}


def test_in_the_last_quarter_of_the_time_all_leave_at_once() -> None:
    """Each plan takes longer than all of the time."""

    def late(quantities: Mapping[UUID, Decimal]) -> Ordered:
        time.sleep(0.02)
        return FALLING(quantities)

    pledges = four(mill="5", quay="5", hill="2")
    found = reckon(pledges, Toy(late), set(OFFERS), coin=CENT, seconds=D("0.01"))
    assert set(left(found)) == {MILL, QUAY, HILL}


def test_a_price_that_is_just_the_highest_is_paid() -> None:
    """Alone a pail is 68.00 for 5 kg."""
    found = reckoned(oil(NORTH, 5000, "13.6"))
    assert (left(found), paid(found)) == ([], {NORTH: D(68)})


@pytest.mark.parametrize(("hill", "first"), [("2", HILL), ("9.5", NORTH)])
def test_own_offers_and_highest_prices_are_weighed_together(hill: str, first: UUID) -> None:
    """North Bench pays 10.00 and could have it for 9.00, a ninth less; the other pays 10.00 for a
    kilogram, which is five times what it would, or a nineteenth above it."""
    own = PackOffer("own", SUPPLIER, OIL, D(1000), (PackPrice(1, D(9)),))
    owns = {NORTH: lambda _: Ordered(bill({own: 1}, {SUPPLIER: Terms()}, CENT))}
    assert left(reckoned(*four(hill=hill), planner=FALLING, owns=owns)) == [first]


def test_what_a_maker_orders_by_itself_is_told_though_nobody_is_left() -> None:
    own = PackOffer("own", SUPPLIER, OIL, D(5000), (PackPrice(1, D(50)),))
    orders = Ordered(bill({own: 1}, {SUPPLIER: Terms()}, CENT))
    pledge = oil(NORTH, 5000)
    found = reckoned(pledge, owns={NORTH: lambda _: orders})
    assert found.dropped == (Dropped(pledge, WhyDropped.TOO_DEAR, D("13.6")),)
    assert (found.shares, found.own) == ((), {NORTH: orders})


def test_what_costs_nothing_has_no_gap() -> None:
    assert reckoned(*four(), planner=priced(lambda _: "0")).gap == 0


def test_over_the_budget_nothing_is_ordered_for_anybody() -> None:
    """Two pails for 10 kg are 80.00, and 28.00 of freight; a third maker would not pay so much."""
    pledges = [oil(NORTH, 5000), oil(MILL, 5000), oil(QUAY, 1000, "1.00")]
    found = reckoned(*pledges)
    assert (found.together, left(found)) == (D(108), [QUAY])
    for enough in (None, D(108), D(109)):
        assert within_budget(found, pledges, enough) is found
    none = within_budget(found, pledges, D("107.99"))
    assert (none.plan, none.split, none.shares, none.together) == (None, None, (), D(0))
    assert none.over_budget == D(108)
    assert none.dropped == (
        *found.dropped,
        Dropped(pledges[0], WhyDropped.OVER_BUDGET),
        Dropped(pledges[1], WhyDropped.OVER_BUDGET),
    )
    assert (none.proven, none.own) == (found.proven, found.own) == (True, {})
    assert found.plan is not None
    unproven = replace(found, proven=False, own={NORTH: found.plan})
    hasty = within_budget(unproven, pledges, D(1))
    assert (hasty.proven, set(hasty.own)) == (False, {NORTH})
