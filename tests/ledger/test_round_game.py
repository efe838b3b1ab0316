"""A round is reckoned in its time, however many makers and pledges there are."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest

from ledger import round_game
from ledger.order_bills import SupplierOrder, bill
from ledger.order_terms import (
    Need,
    NothingCovers,
    PackOffer,
    PackPrice,
    PlanNotFound,
    Terms,
    Why,
)
from ledger.round_pledges import Plan, Pledge, Reckoned
from ledger.round_reckoning import reckon
from tests.ledger.toy_rounds import (
    CENT,
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
    Toy,
    oil,
    order,
    paid,
)


class Clock:
    """A clock that only the planner moves on."""

    passed = 10**12

    def monotonic_ns(self) -> int:
        return self.passed


@dataclass
class Slow(Toy):
    """Takes all the time that a plan is given, or so many seconds."""

    clock: Clock = field(default_factory=Clock)
    takes: Callable[[Decimal], Decimal] = lambda seconds: seconds
    asked: list[frozenset[Need]] = field(default_factory=list)
    begun: list[Sequence[SupplierOrder]] = field(default_factory=list)
    given: list[Decimal] = field(default_factory=list)
    given_own: list[Decimal] = field(default_factory=list)

    def plan(
        self, needs: Sequence[Need], seconds: Decimal, begin: Sequence[SupplierOrder] = ()
    ) -> Plan:
        self.asked.append(frozenset(needs))
        self.begun.append(begin)
        self.given.append(seconds)
        self.clock.passed += int(self.takes(seconds) * 10**9)
        return super().plan(needs, seconds, begin)

    def own(self, maker: UUID, needs: Sequence[Need], seconds: Decimal) -> Plan | None:
        self.given_own.append(seconds)
        return super().own(maker, needs, seconds)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    monkeypatch.setattr(round_game, "time", clock)
    return clock


def timed(pledges: Sequence[Pledge], planner: Slow, seconds: int, **facts: Any) -> Reckoned:
    clock, before = planner.clock, planner.clock.passed
    found = reckon(pledges, planner, set(OFFERS), coin=CENT, seconds=D(seconds), **facts)
    assert len(set(planner.asked)) == len(planner.asked), "no plan is asked for twice"
    assert clock.passed - before <= (seconds + 5) * 10**9
    return found


def makers(number: int) -> list[UUID]:
    return [UUID(int=one) for one in range(1, number + 1)]


def test_with_no_time_each_alone_is_asked_and_nothing_else(clock: Clock) -> None:
    pledges = [oil(maker, 500 << maker.int) for maker in makers(6)]
    found = timed(pledges, Slow(clock=clock), 0)
    assert found.split is not None
    assert (found.split.groups, found.split.by_size) == (7, (6, 0, 0, 0, 0, 1))
    assert all(share.amount <= share.alone_cost for share in found.shares)
    quick = Slow(clock=clock, takes=lambda _: D(0))
    found = timed(pledges, quick, 60)
    assert found.split is not None
    assert found.split.by_size == (6, 15, 20, 15, 6, 1)
    assert found.split.heeds_all


def test_as_many_groups_are_asked_as_there_is_time_for(clock: Clock) -> None:
    """A plan takes a second, whatever it is given: the largest groups of several come first."""
    pledges = [oil(maker, 500 << maker.int) for maker in makers(6)]
    sizes = {}
    for seconds in (8, 16, 24):
        found = timed(pledges, Slow(clock=clock, takes=lambda _: D(1)), seconds)
        assert found.split is not None
        sizes[seconds] = found.split.by_size
    assert sizes == {
        8: (6, 0, 0, 0, 1, 1),
        16: (6, 0, 0, 3, 6, 1),
        24: (6, 0, 0, 11, 6, 1),
    }


def test_a_round_of_many_makers_keeps_its_time_while_pledges_leave(clock: Clock) -> None:
    """All that a plan is given is used up, and most pledges would pay too much, one by one."""
    dear = [oil(one, 1000 + one.int, f"{one.int}.00") for one in makers(9)]
    wax = [Pledge(one, WAX, D(700 + one.int), False) for one in makers(9)]
    heard: list[int] = []
    slow = Slow(clock=clock)
    found = timed([*dear, *wax], slow, 50, between=lambda: heard.append(1))
    assert found.dropped
    assert len(heard) >= len(slow.asked)
    for share in found.shares:
        assert share.amount <= share.alone_cost
        assert all(line.price is None or line.pledge.accepts(line.price) for line in share.lines)


def test_what_each_would_order_alone_is_not_asked_again_when_another_leaves(clock: Clock) -> None:
    slow = Slow(clock=clock, takes=lambda _: D(0))
    found = timed([oil(NORTH, 10_000), oil(MILL, 5000, "6.00"), oil(QUAY, 5000)], slow, 50)
    assert [one.pledge.maker for one in found.dropped] == [MILL]
    assert slow.asked.count(frozenset({Need(OIL, D(5000))})) == 1
    # The larger half of the makers begins with the order for all, the smaller with each one's own.
    begins = dict(zip(slow.asked, slow.begun, strict=True))
    assert begins[frozenset({Need(OIL, D(20_000))})] == ()
    (whole,) = begins[frozenset({Need(OIL, D(15_000))})]
    assert whole.lines[0].packs == 4


def test_a_group_that_no_plan_was_found_for_is_not_looked_at(clock: Clock) -> None:
    def some(quantities: Any) -> Any:
        if quantities[OIL] == 3000:
            raise NothingCovers(materials=[OIL], reason=Why.WOULD_EXPIRE)
        return order(quantities)

    planner: Orders = some
    found = timed([oil(one, 500 << one.int) for one in makers(3)], Slow(planner, clock=clock), 50)
    assert found.split is not None
    # The first two want 3 kg.
    assert found.split.by_size == (3, 2, 1)


def test_who_alone_was_not_found_in_time_is_said(clock: Clock) -> None:
    def never(quantities: Any) -> Any:
        raise PlanNotFound

    with pytest.raises(PlanNotFound):
        reckon([oil(NORTH, 1)], Slow(never, clock=clock), {OIL}, coin=CENT, seconds=D(50))


def test_offers_of_one_s_own_that_do_not_do_are_none(clock: Clock) -> None:
    def never(quantities: Any) -> Any:
        raise PlanNotFound

    slow = Slow(order, owns={NORTH: never}, clock=clock)
    assert paid(timed([oil(NORTH, 1000)], slow, 50)) == {NORTH: D(68)}


def test_each_plan_has_its_part_of_the_time(clock: Clock) -> None:
    """Of 8 s that never pass: a quarter for the order of all, a fourth part each for three makers
    alone and the rest, and of the third that is spent at first as much for each group of two."""
    slow = Slow(clock=clock, takes=lambda _: D(0))
    timed([oil(one, 500 << one.int) for one in makers(3)], slow, 8)
    third = D(8) / 3
    assert slow.given_own == [D(2)] * 3
    assert slow.given == [D(2)] + [D(2)] * 3 + [third / 4] * 3
    # Of a minute no plan has more than its most, and the first once more after some have left.
    slow = Slow(clock=clock, takes=lambda _: D(0))
    timed([oil(NORTH, 10_000), oil(MILL, 5000, "6.00"), oil(QUAY, 6000)], slow, 60)
    given = {next(iter(needs)).quantity: seconds for needs, seconds in _given(slow)}
    assert given[D(21_000)] == D(10)
    assert given[D(10_000)] == given[D(16_000)] == D(3)
    # Of 0.2 s that is left nobody has less than is worth asking.
    slow = Slow(clock=clock, takes=lambda _: D(0))
    reckon(
        [oil(one, 500 << one.int) for one in makers(3)], slow, {OIL}, coin=CENT, seconds=D("0.2")
    )
    assert slow.given == [D("0.1")] * 4


def _given(slow: Slow) -> list[tuple[frozenset[Need], Decimal]]:
    return list(zip(slow.asked, slow.given, strict=True))


def test_a_plan_begins_with_orders_that_do(clock: Clock) -> None:
    """A small group with what its makers would order alone; who wants less now, with what it would
    have ordered; all that are left, with the order for all."""
    slow = Slow(clock=clock, takes=lambda _: D(0))
    timed([oil(one, 5000 << place) for place, one in enumerate(makers(5))], slow, 50)
    begins = dict(zip(slow.asked, slow.begun, strict=True))
    ((pair,), (most,)) = (begins[frozenset({Need(OIL, D(kg * 5000))})] for kg in (3, 30))
    assert (pair.lines[0].packs, most.lines[0].packs) == (3, 31)
    slow = Slow(clock=clock, takes=lambda _: D(0))
    wax = Pledge(NORTH, WAX, D(1000), False)
    timed([oil(NORTH, 5000, "1.00"), wax, oil(MILL, 6000)], slow, 16)
    begins = dict(zip(slow.asked, slow.begun, strict=True))
    alone = begins[frozenset({Need(WAX, D(1000))})]
    assert {line.offer.material for one in alone for line in one.lines} == {OIL, WAX}
    of_all = frozenset({Need(OIL, D(6000)), Need(WAX, D(1000))})
    assert sorted(line.packs for one in begins[of_all] for line in one.lines) == [1, 3]
    # Begun so, it needs less time than the first: an eighth.
    assert dict(_given(slow))[of_all] == D(2)


def test_where_nothing_keeps_long_enough_a_maker_alone_buys_what_it_may_not_use(
    clock: Clock,
) -> None:
    @dataclass
    class Fresh(Slow):
        def plan(
            self, needs: Sequence[Need], seconds: Decimal, begin: Sequence[SupplierOrder] = ()
        ) -> Plan:
            found = super().plan(needs, seconds, begin)
            if any(need.use_per_month is not None for need in needs):
                raise NothingCovers(materials=[OIL], reason=Why.WOULD_EXPIRE)
            return found

    slow = Fresh(clock=clock, takes=lambda _: D(0))
    found = timed([replace(oil(NORTH, 5000), use_per_month=D(10))], slow, 50)
    assert paid(found) == {NORTH: D(68)}
    assert slow.asked[-1] == frozenset({Need(OIL, D(5000), None, sure=D(5000))})


def owned(price: str, clock: Clock) -> Slow:
    """NORTH has an offer of its own for 3 kg."""
    own = PackOffer("own", SUPPLIER, OIL, D(3000), (PackPrice(1, D(price)),))
    owns = {NORTH: lambda _: Ordered(bill({own: 1}, {SUPPLIER: Terms()}, CENT))}
    return Slow(order, owns=owns, clock=clock)


def test_own_offers_are_heeded_with_what_is_sold_of_the_packs(clock: Clock) -> None:
    """A pail is 68.00, of which 2 kg are sold for 16.00: own offers of 52.00 are just enough."""
    pledges = [oil(NORTH, 3000), oil(QUAY, None, leftover=True)]
    found = timed(pledges, owned("52.00", clock), 50)
    assert (found.dropped, paid(found)[NORTH]) == ((), D("52.00"))
    # Two are 108.00, and 92.00 less those 2 kg: of 30.00 and 68.00 each saves half of 6.00.
    found = timed([*pledges, oil(MILL, 5000)], owned("30.00", clock), 50)
    assert (paid(found)[NORTH], paid(found)[MILL]) == (D("27.00"), D("65.00"))
