"""A round reckoned: within highest prices, fair, to the cent and the last grain."""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import combinations
from math import ceil
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger import round_reckoning
from ledger.errors import Invalid
from ledger.order_bills import SupplierOrder, bill, total
from ledger.order_terms import PackOffer, PackPrice, Terms
from ledger.round_pledges import Dropped, Pledge, Reckoned, WhyDropped, goods_of
from ledger.round_reckoning import reckon

D = Decimal
CENT = D("0.01")
NORTH, MILL, QUAY, HILL, LANE = (UUID(int=number) for number in range(1, 6))
OIL, WAX, JAR = (UUID(int=number) for number in range(101, 104))
SUPPLIER = UUID(int=201)
OFFERS = {
    OIL: PackOffer("oil", SUPPLIER, OIL, D(5000), (PackPrice(1, D(40)), PackPrice(5, D(34)))),
    WAX: PackOffer("wax", SUPPLIER, WAX, D(1000), (PackPrice(1, D(12)),)),
    JAR: PackOffer("jar", SUPPLIER, JAR, D(24), (PackPrice(1, D("15.05")),)),
}
TERMS: dict[Hashable, Terms] = {SUPPLIER: Terms(flat=D(28), free_from=D(200))}


@dataclass(frozen=True)
class Ordered:
    orders: tuple[SupplierOrder, ...]
    proven: bool = True

    @property
    def cost(self) -> Decimal:
        return total(self.orders)


def order(quantities: Mapping[UUID, Decimal]) -> Ordered:
    """The cheapest of one offer each: as many packs as are needed, or up to the break."""
    choices = []
    needed = {m: ceil(quantity / OFFERS[m].size) for m, quantity in quantities.items()}
    for extra in range(6):
        for counts in (needed, needed | {OIL: needed.get(OIL, 0) + extra}):
            packs = {OFFERS[material]: count for material, count in counts.items()}
            choices.append(bill(packs, TERMS, CENT))
    return Ordered(min(choices, key=total))


def reckoned(
    *pledges: Pledge, planner: Callable[[Mapping[UUID, Decimal]], Ordered] = order
) -> Reckoned:
    return reckon(pledges, planner, set(OFFERS), coin=CENT, seconds=D(60))


def oil(maker: UUID, grams: int | None, highest: str = "", leftover: bool = False) -> Pledge:
    quantity = None if grams is None else D(grams)
    return Pledge(maker, OIL, quantity, False, D(highest) if highest else None, leftover)


def paid(found: Reckoned) -> dict[UUID, Decimal]:
    return {share.maker: share.amount for share in found.shares}


def test_together_is_cheaper_for_each() -> None:
    """Alone each buys a pack and pays freight, 68.00; five packs are 170.00 and freight."""
    makers = (NORTH, MILL, QUAY, HILL, LANE)
    found = reckoned(*(oil(maker, 5000) for maker in makers))
    assert found.together == D("198.00")
    assert found.apart == D("340.00")
    assert paid(found) == dict.fromkeys(makers, D("39.60"))
    assert {share.alone_cost for share in found.shares} == {D("68.00")}
    assert [share.alone for share in found.shares] == [order({OIL: D(5000)})] * 5
    assert found.plan == order({OIL: D(25_000)})
    assert {line.price for share in found.shares for line in share.lines} == {D("7.92")}
    assert found.split is not None
    assert found.split.heeds_all
    assert not found.split.core_is_empty
    assert found.proven


def test_a_share_goes_over_a_maker_s_pledges_as_their_goods_cost() -> None:
    """5 kg of oil for 40.00 and 1 kg of wax for 12.00, with 28.00 of freight: 80.00."""
    found = reckoned(oil(NORTH, 5000), Pledge(NORTH, WAX, D(1000), False))
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


def test_orders_dearer_than_apart_are_refused_and_unproven_ones_told() -> None:
    def hasty(quantities: Mapping[UUID, Decimal]) -> Ordered:
        found = order(quantities)
        return Ordered(found.orders * (3 if quantities[OIL] == 2000 else 1), proven=False)

    with pytest.raises(Invalid, match="each alone"):
        reckoned(oil(NORTH, 1000), oil(MILL, 1000), planner=hasty)
    assert not reckoned(oil(NORTH, 1000), planner=hasty).proven


def test_with_little_time_few_groups_are_asked() -> None:
    pledges = [oil(UUID(int=number), 1000 * number) for number in range(1, 7)]
    found = reckon(pledges, order, set(OFFERS), coin=CENT, seconds=D(0))
    assert found.split is not None
    assert found.split.groups == 13 < found.split.all_groups
    found = reckon(pledges, order, set(OFFERS), coin=CENT, seconds=D(60))
    assert found.split is not None
    assert found.split.groups == found.split.all_groups == 63


def test_as_many_groups_are_asked_as_there_is_time_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan takes a second: of fourteen one is left after the first thirteen groups."""

    class Clock:
        passed = 10**12

        def monotonic_ns(self) -> int:
            return self.passed

    clock = Clock()

    def slow(quantities: Mapping[UUID, Decimal]) -> Ordered:
        clock.passed += 10**9
        return order(quantities)

    monkeypatch.setattr(round_reckoning, "time", clock)
    pledges = [oil(UUID(int=number), 1000 * number) for number in range(1, 7)]
    groups = {}
    for seconds in (12, 13, 14, 15):
        found = reckon(pledges, slow, set(OFFERS), coin=CENT, seconds=D(seconds))
        assert found.split is not None
        groups[seconds] = found.split.groups
    assert groups == {12: 13, 13: 13, 14: 14, 15: 15}


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


@st.composite
def rounds(draw: st.DrawFn) -> list[Pledge]:
    makers = (NORTH, MILL, QUAY, HILL)[: draw(st.integers(1, 4))]
    grams = st.integers(1, 30_000).map(D)
    price = st.none() | st.decimals(D("0.5"), D(40), places=2)
    return [
        Pledge(maker, material, draw(amount), material is JAR, draw(price), draw(st.booleans()))
        for maker in makers
        for material, amount in ((OIL, grams), (WAX, grams), (JAR, st.integers(1, 60).map(D)))
        if draw(st.booleans())
    ]


@settings(max_examples=60)
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
    # No group pays more than its own orders would cost, where that is possible.
    assert found.split is not None
    if found.split.is_in_core:
        amounts = paid(found)
        for size in range(1, len(amounts) + 1):
            for group in combinations(amounts, size):
                own = [one for one in lines if one.pledge.maker in group and one.quantity]
                wants: dict[UUID, Decimal] = {}
                for one in own:
                    wants[one.pledge.material] = wants.get(one.pledge.material, D(0)) + one.quantity
                if wants:
                    assert sum(amounts[maker] for maker in group) <= order(wants).cost
