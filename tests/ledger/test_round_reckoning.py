"""A round reckoned: within highest prices, fair, to the cent and the last grain."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from itertools import combinations
from math import ceil
from uuid import UUID

from ledger.order_bills import bill
from ledger.order_terms import PackOffer, PackPrice, PlanNotFound, Terms
from ledger.round_pledges import Dropped, Pledge, WhyDropped
from tests.ledger.toy_rounds import (
    CENT,
    HILL,
    JAR,
    LANE,
    MILL,
    NORTH,
    OFFERS,
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


def test_together_is_cheaper_for_each() -> None:
    """Alone each buys a pack and pays freight, 68.00; five packs are 170.00 and freight."""
    makers = (NORTH, MILL, QUAY, HILL, LANE)
    found = reckoned(*(oil(maker, 5000) for maker in makers))
    assert found.together == D("198.00")
    assert found.apart == D("340.00")
    assert paid(found) == dict.fromkeys(makers, D("39.60"))
    assert {share.alone_cost for share in found.shares} == {D("68.00")}
    assert [share.alone for share in found.shares] == [order({OIL: D(5000)})] * 5
    assert found.plan is not None
    assert found.plan.orders == order({OIL: D(25_000)}).orders
    assert {line.price for share in found.shares for line in share.lines} == {D("7.92")}
    assert found.split is not None
    assert found.split.heeds_all
    assert not found.split.core_is_empty
    assert found.proven


def test_a_share_goes_over_a_maker_s_pledges_as_their_goods_cost() -> None:
    """5 kg of oil for 40.00 and 1 kg of wax for 12.00, with 28.00 of freight: 80.00."""
    found = reckoned(oil(NORTH, 5000), Pledge(NORTH, WAX, D(1000), False))
    assert found.proven
    (share,) = found.shares
    assert [(line.amount, line.price) for line in share.lines] == [
        (D("61.54"), D("12.308")),
        (D("18.46"), D("18.46")),
    ]


def test_the_pledge_furthest_above_its_highest_price_leaves_first() -> None:
    """Without it the other pays 10.80 a kilogram, which is within 11.00, and too much for 10.50."""
    found = reckoned(oil(NORTH, 10_000), oil(MILL, 5000, "6.00"), oil(QUAY, 5000, "11.00"))
    assert [one.pledge.maker for one in found.dropped] == [MILL]
    assert paid(found) == {NORTH: D(94), QUAY: D(54)}
    found = reckoned(oil(NORTH, 10_000), oil(MILL, 5000, "6.00"), oil(QUAY, 5000, "10.50"))
    assert [(one.pledge.maker, one.why) for one in found.dropped] == [
        (MILL, WhyDropped.TOO_DEAR),
        (QUAY, WhyDropped.TOO_DEAR),
    ]
    assert all(one.price is not None and not one.pledge.accepts(one.price) for one in found.dropped)
    # Whoever came first.
    turned = reckoned(oil(QUAY, 5000, "10.50"), oil(NORTH, 10_000), oil(MILL, 5000, "6.00"))
    assert [one.pledge.maker for one in turned.dropped] == [MILL, QUAY]
    # Both are above theirs at once: some 9.87 instead of 6.00, and instead of 5.00.
    both = reckoned(oil(QUAY, 5000, "6.00"), oil(NORTH, 10_000), oil(MILL, 5000, "5.00"))
    assert [one.pledge.maker for one in both.dropped] == [MILL, QUAY]
    assert paid(found) == {NORTH: D("108.00")}
    assert found.apart == D("108.00")


def test_what_nobody_offers_is_told_and_the_rest_is_ordered() -> None:
    unknown = Pledge(NORTH, UUID(int=999), D(1), False)
    found = reckoned(unknown, oil(MILL, 100))
    assert [(one.pledge, one.why, one.price) for one in found.dropped] == [
        (unknown, WhyDropped.NOT_OFFERED, None)
    ]
    assert paid(found) == {MILL: D("68.00")}


def test_a_round_of_nothing() -> None:
    """Alone a pail costs 68.00, which is 13.60 a kilogram."""
    dear = oil(NORTH, 5000, "1.00")
    too_dear = Dropped(dear, WhyDropped.TOO_DEAR, D("13.6"))
    for pledges, dropped in (
        ([], ()),
        ([oil(NORTH, None, leftover=True)], ()),
        ([dear], (too_dear,)),
    ):
        found = reckoned(*pledges)
        assert found.dropped == dropped
        assert (found.plan, found.split, found.shares) == (None, None, ())
        assert found.together == found.apart == 0
        assert found.proven


def test_leftover_goes_to_who_asked_for_it_at_the_goods_cost() -> None:
    """5 kg for 40.00, of which 2 kg are left: 16.00, and 52.00 are split."""
    found = reckoned(oil(NORTH, 2000), oil(MILL, 1000), oil(QUAY, None, leftover=True))
    amounts = {share.maker: (share.amount, share.leftover_amount) for share in found.shares}
    assert amounts == {NORTH: (D(26), D(0)), MILL: (D(26), D(0)), QUAY: (D(0), D(16))}
    assert found.together == D(68)
    (line,) = found.shares[2].lines
    assert (line.quantity, line.leftover, line.price) == (D(0), D(2000), None)
    assert found.shares[2].alone is None
    assert found.shares[2].alone_cost == 0


def test_leftover_that_nobody_asked_for_goes_to_those_who_have_paid_for_the_packs() -> None:
    dear = oil(QUAY, None, "7.99", leftover=True)
    found = reckoned(oil(NORTH, 2000), oil(MILL, 1000), dear)
    beyond = {share.maker: share.lines[0].leftover for share in found.shares}
    assert beyond == {NORTH: D("1333.333333"), MILL: D("666.666667")}
    assert not any(share.leftover_amount for share in found.shares)
    assert sum(paid(found).values()) == found.together


def test_of_what_nobody_orders_nothing_is_left() -> None:
    found = reckoned(oil(NORTH, 5000), Pledge(NORTH, WAX, None, False, takes_leftover=True))
    (share,) = found.shares
    assert [(line.pledge.material, line.amount) for line in share.lines] == [(OIL, D(68))]
    assert found.dropped == ()


def test_pieces_stay_whole() -> None:
    found = reckoned(*(Pledge(one, JAR, D(5), True) for one in (NORTH, MILL, QUAY)))
    assert sorted(line.leftover for share in found.shares for line in share.lines) == [3, 3, 3]
    assert {line.price for share in found.shares for line in share.lines} <= {D("2.87"), D("2.868")}


def test_who_is_dropped_for_its_price_may_still_take_leftover() -> None:
    """Alone its kilogram costs 13.60; of what the other leaves it costs 8.00, within its 8.50."""
    found = reckoned(oil(NORTH, 4000), oil(MILL, 1000, "2.00"))
    assert [one.pledge.maker for one in found.dropped] == [MILL]
    found = reckoned(oil(NORTH, 4000), oil(MILL, 500, "8.50", leftover=True))
    assert [one.pledge.maker for one in found.dropped] == [MILL]
    amounts = {share.maker: (share.amount, share.leftover_amount) for share in found.shares}
    assert amounts == {NORTH: (D(60), D(0)), MILL: (D(0), D(8))}


def test_amounts_finer_than_a_coin_do_not_make_together_dearer_than_apart() -> None:
    """Prices in another currency: half cents, and nothing to be saved."""
    fine = PackOffer("fine", SUPPLIER, OIL, D(1000), (PackPrice(1, D("1.005")),))

    def planner(quantities: Mapping[UUID, Decimal]) -> Ordered:
        packs = {fine: ceil(quantities[OIL] / 1000)}
        return Ordered(bill(packs, {SUPPLIER: Terms()}, CENT))

    found = reckoned(oil(NORTH, 1000), oil(MILL, 1000), oil(QUAY, 1000), planner=planner)
    assert found.together == D("3.01")
    assert found.apart == D("3.03")
    assert sorted(paid(found).values()) == [D("1.00"), D("1.00"), D("1.01")]


def test_orders_dearer_than_apart_give_way_to_those_of_each_alone_as_one() -> None:
    """A plan for both that was not found in time, or is dear: each alone would buy a pail for 40.00
    and pay freight; two pails in one order pay it once."""

    def hasty(quantities: Mapping[UUID, Decimal]) -> Ordered:
        found = order(quantities)
        return Ordered(found.orders * (3 if quantities[OIL] == 2000 else 1), proven=False)

    def slow(quantities: Mapping[UUID, Decimal]) -> Ordered:
        if quantities[OIL] == 2000:
            raise PlanNotFound
        return order(quantities)

    for planner in (hasty, slow):
        found = reckoned(oil(NORTH, 1000), oil(MILL, 1000), planner=planner)
        assert (found.together, found.apart, found.proven) == (D(108), D(136), False)
        assert paid(found) == {NORTH: D(54), MILL: D(54)}
        assert found.plan is not None
        assert [line.packs for one in found.plan.orders for line in one.lines] == [2]
        assert (found.plan.bound, found.gap) == (D(0), D(1))
    assert not reckoned(oil(NORTH, 1000), planner=hasty).proven


def test_orders_dearer_than_apart_stay_where_as_one_would_be_dearer_still() -> None:
    """Alone a pail is 40.00 and brought for nothing; two are brought for 20.00 or, as one order,
    for 28.00. What is left of them is bought, so that both pay less than alone."""

    def planner(quantities: Mapping[UUID, Decimal]) -> Ordered:
        both = quantities[OIL] == 2000
        return Ordered(bill({OFFERS[OIL]: 1 + both}, {SUPPLIER: Terms(flat=D(20 * both))}, CENT))

    pledges = oil(NORTH, 1000), oil(MILL, 1000), oil(QUAY, None, leftover=True)
    found = reckoned(*pledges, planner=planner)
    assert (found.together, found.apart, found.proven) == (D(100), D(80), False)
    assert (paid(found)[NORTH], paid(found)[MILL]) == (D(18), D(18))


def test_nobody_pays_more_than_by_offers_of_its_own() -> None:
    """Two pails are 108.00 and 54.00 each. Mill Bench alone gets one for 45.50 by its own offers:
    with the other's 68.00 that is 113.50, and of the 5.50 that are saved each has half."""
    both = (oil(NORTH, 5000), oil(MILL, 5000))
    found = reckoned(*both, owns={MILL: at("45.50")})
    assert paid(found) == {NORTH: D("65.25"), MILL: D("42.75")}
    mill = found.shares[1]
    assert (mill.alone_cost, mill.own_cost, found.apart) == (D(68), D("45.50"), D(136))
    assert set(found.own) == {MILL}
    # Dearer own offers change nothing, and nobody hears of them.
    dear = reckoned(*both, owns={MILL: at("68.00")})
    assert (paid(dear), dear.own) == ({NORTH: D(54), MILL: D(54)}, {})


def test_who_does_better_alone_than_any_share_leaves() -> None:
    """The other would pay 68.00 alone: of 108.00 it cannot leave less than 40.00 to Mill Bench."""
    both = (oil(NORTH, 5000), oil(MILL, 5000))
    found = reckoned(*both, owns={MILL: at("39.99")})
    assert found.dropped == (Dropped(both[1], WhyDropped.TOO_DEAR, D("10.8")),)
    assert paid(found) == {NORTH: D(68)}
    assert found.own[MILL].cost == D("39.99")
    assert paid(reckoned(*both, owns={MILL: at("40.00")})) == {NORTH: D(68), MILL: D(40)}
    # All of it leaves, and what is free is infinitely better.
    wax = Pledge(MILL, WAX, D(1000), False)
    free = reckoned(*both, wax, owns={MILL: at("0.00")})
    assert {one.pledge.material for one in free.dropped} == {OIL, WAX}
    assert free.split is not None
    assert list(free.split.shares) == [NORTH]


def at(price: str) -> Orders:
    """Whatever is wanted in one pack at this price."""
    pack = PackOffer("own", SUPPLIER, OIL, D(99_000), (PackPrice(1, D(price)),))
    return lambda quantities: Ordered(bill({pack: 1}, {SUPPLIER: Terms()}, CENT))


def test_who_would_pay_too_much_once_all_groups_are_asked_leaves_as_well() -> None:
    """Each alone is 100.00, three are 270.00 and all 320.00: 80.00 each, as far as few groups tell.

    The first two by themselves are 120.00, so that the others pay more than 90.00 each. For its
    4 kg the third pays 20.00 a kilogram at first, and not within its 21.00 in the end.
    """
    costs = {
        frozenset(group): {1: 100, 2: 200, 3: 270, 4: 320}[len(group)]
        for size in range(1, 5)
        for group in combinations((1, 2, 4, 8), size)
    } | {frozenset((1, 2)): 120}
    by_kg = {sum(group): cost for group, cost in costs.items()}
    asked = []

    def planner(quantities: Mapping[UUID, Decimal]) -> Ordered:
        grams = quantities[OIL]
        asked.append(int(grams) // 1000)
        pack = PackOffer(grams, SUPPLIER, OIL, grams, (PackPrice(1, D(by_kg[asked[-1]])),))
        return Ordered(bill({pack: 1}, {SUPPLIER: Terms()}, CENT))

    others = [oil(NORTH, 1000), oil(MILL, 2000), oil(HILL, 8000)]
    found = reckoned(*others, oil(QUAY, 4000, "21.00"), planner=planner)
    assert [one.pledge.maker for one in found.dropped] == [QUAY]
    assert sorted(asked) == list(range(1, 16))
    assert found.together == 270
    asked.clear()
    # Who pays too much as far as few groups tell leaves before any pair is asked that it is in.
    found = reckoned(*others, oil(QUAY, 4000, "19.00"), planner=planner)
    assert [one.pledge.maker for one in found.dropped] == [QUAY]
    assert sorted(asked) == [1, 2, 3, 4, 7, 8, 9, 10, 11, 13, 14, 15]


def test_goods_that_cost_nothing_carry_their_freight_by_quantity() -> None:
    """28.00 of freight over 3 kg and 1 kg."""
    gifts = {m: replace(OFFERS[m], prices=(PackPrice(1, D(0)),)) for m in (OIL, WAX)}

    def planner(quantities: Mapping[UUID, Decimal]) -> Ordered:
        packs = {gifts[m]: ceil(quantity / gifts[m].size) for m, quantity in quantities.items()}
        return Ordered(bill(packs, {SUPPLIER: Terms(flat=D(28))}, CENT))

    found = reckoned(oil(NORTH, 3000), Pledge(NORTH, WAX, D(1000), False), planner=planner)
    (share,) = found.shares
    assert [line.amount for line in share.lines] == [D(21), D(7)]
