"""What each group of makers in a round would pay by itself, worked out before a moment.

All time is the round's: the plan for all is asked first, then each maker alone, since nobody may
pay more than that; groups of several are looked at as long as there is time, and a plan for the
same needs is asked for once, whoever has left meanwhile. The plans of all makers alone, put
together, are a plan for all, so the order for all is never dearer than they are.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Final, Protocol
from uuid import UUID

from ledger.fair_split import FairSplit, split_fairly
from ledger.money import round_to_step
from ledger.order_bills import SupplierOrder, total
from ledger.order_terms import Need, NothingCovers, PlanNotFound
from ledger.round_leftovers import Left, leftovers
from ledger.round_pledges import Plan, Pledge, needs_of

NOTHING: Final = Decimal(0)
# Seconds for one plan: of all together, of a group (or of all once more, after some have left), and
# the least that is worth asking.
OF_ALL: Final = Decimal(10)
OF_A_GROUP: Final = Decimal(3)
LEAST: Final = Decimal("0.1")
_SECOND: Final = 10**9


class Planner(Protocol):
    """What can be bought, by all makers at the same offers, and by some at offers of their own."""

    def plan(
        self, needs: Sequence[Need], seconds: Decimal, begin: Sequence[SupplierOrder] = ()
    ) -> Plan:
        """The cheapest orders, or the best found in so many seconds; `begin` has some that do.

        Raises NothingCovers, and PlanNotFound where the time was too short for any.
        """

    def own(self, maker: UUID, needs: Sequence[Need], seconds: Decimal) -> Plan | None:
        """The same by a maker's own offers and terms, too; None where it has none."""

    def as_one(self, plans: Sequence[Plan]) -> tuple[SupplierOrder, ...]:
        """The packs of several plans, as one order of each supplier."""


@dataclass(frozen=True, slots=True)
class Whole:
    """What is ordered for all: the cheapest found, or what all would order alone, put together."""

    orders: tuple[SupplierOrder, ...]
    bound: Decimal
    proven: bool

    @property
    def cost(self) -> Decimal:
        return total(self.orders)


@dataclass(frozen=True, slots=True)
class Played:
    """A cost game, split. `own` has the plans of those who do better by offers of their own."""

    whole: Whole
    together: Decimal
    split: FairSplit[UUID]
    alone: Mapping[UUID, Plan]
    own: Mapping[UUID, Plan]
    left: Mapping[Pledge, Left]
    asked: Sequence[Plan]


class Game:
    """The plans of a round asked so far, and the time that is left for more."""

    def __init__(
        self, planner: Planner, coin: Decimal, seconds: Decimal, between: Callable[[], object]
    ) -> None:
        self.planner, self.coin, self.between = planner, coin, between
        self.until = time.monotonic_ns() + int(seconds * _SECOND)
        self.plans: dict[tuple[UUID | None, frozenset[Need]], Plan | None] = {}
        # The last orders for all, and of each alone: some that do when less is wanted.
        self.of_all: tuple[SupplierOrder, ...] = ()
        self.of_one: dict[UUID, tuple[SupplierOrder, ...]] = {}

    def left(self) -> Decimal:
        """How many seconds are left, never below zero."""
        return max(NOTHING, Decimal(self.until - time.monotonic_ns()) / _SECOND)

    def play(self, kept: Sequence[Pledge], most_groups: int, seconds: Decimal) -> Played:
        """The split over as many groups as there is time for in so many seconds, and no more than
        `most_groups`. Raises PlanNotFound where a maker's plan alone was not found in time."""
        until = self.left() - seconds
        of = _by_maker(kept)
        again = bool(self.of_all)
        for_all = self._share_of_time(OF_A_GROUP, 8) if again else self._share_of_time(OF_ALL, 4)
        found = self._plan(needs_of(kept), for_all, self.of_all)
        alone = {maker: self._alone(maker, own, len(of)) for maker, own in of.items()}
        own = self._own(of, alone)
        whole = self._whole(found, list(alone.values()))
        self.of_all = whole.orders
        left = leftovers(kept, whole.orders, self.coin)
        sold = sum((one.amount for one in left.values()), NOTHING)
        together = round_to_step(whole.cost, self.coin, ROUND_FLOOR)
        limits = {maker: self.paid(own.get(maker, plan)) for maker, plan in alone.items()}
        if sum(limits.values()) < together - sold:
            limits = {maker: self.paid(plan) for maker, plan in alone.items()}
        asked: list[Plan] = [whole, *alone.values()]

        def cost(group: frozenset[UUID]) -> int | None:
            if len(group) == len(of):
                return int((together - sold) / self.coin)
            apart = sum((limits[maker] for maker in group), NOTHING)
            if len(group) > 1:
                plan = self._group(kept, group, whole, alone, self.left() - until)
                if plan is None:
                    return None
                asked.append(plan)
                apart = min(apart, self.paid(plan))
            return int(apart / self.coin)

        split = split_fairly(list(of), cost, most_groups=most_groups)
        return Played(whole, together, split, alone, own, left, asked)

    def paid(self, plan: Plan) -> Decimal:
        """What orders cost in whole coins. Amounts in other currencies are finer: a group's are
        rounded up and those of all down, so that apart is never less than together."""
        return round_to_step(plan.cost, self.coin, ROUND_CEILING)

    def _share_of_time(self, most: Decimal, parts: int) -> Decimal:
        return max(LEAST, min(most, self.left() / parts))

    def _plan(
        self, needs: Sequence[Need], seconds: Decimal, begin: Sequence[SupplierOrder] = ()
    ) -> Plan | None:
        """At the offers of all; None where the time was too short for any plan, or every cover
        would expire in part."""
        return self._asked(None, needs, lambda: self.planner.plan(needs, seconds, begin))

    def _asked(
        self, maker: UUID | None, needs: Sequence[Need], ask: Callable[[], Plan | None]
    ) -> Plan | None:
        key = maker, frozenset(needs)
        if key not in self.plans:
            self.between()
            try:
                self.plans[key] = ask()
            except (NothingCovers, PlanNotFound):
                self.plans[key] = None
        return self.plans[key]

    def _alone(self, maker: UUID, own: Sequence[Pledge], makers: int) -> Plan:
        """Where nothing keeps long enough for one maker, with some that it would not use."""
        needs = needs_of(own)
        seconds = self._share_of_time(OF_A_GROUP, makers + 1)
        found = self._plan(needs, seconds, self.of_one.get(maker, ()))
        if found is None:
            free = [replace(need, use_per_month=None) for need in needs]
            found = self.planner.plan(free, OF_A_GROUP)
            self.plans[None, frozenset(needs)] = found
        self.of_one[maker] = found.orders
        return found

    def _own(
        self, of: Mapping[UUID, Sequence[Pledge]], alone: Mapping[UUID, Plan]
    ) -> dict[UUID, Plan]:
        """The plans of those who do better by offers of their own."""
        found = {}
        for maker, pledges in of.items():
            plan = self._own_plan(maker, needs_of(pledges), len(of))
            if plan is not None and plan.cost < alone[maker].cost:
                found[maker] = plan
        return found

    def _own_plan(self, maker: UUID, needs: Sequence[Need], makers: int) -> Plan | None:
        seconds = self._share_of_time(OF_A_GROUP, makers + 1)
        return self._asked(maker, needs, lambda: self.planner.own(maker, needs, seconds))

    def _whole(self, found: Plan | None, alone: Sequence[Plan]) -> Whole:
        bound = found.bound if found is not None else NOTHING
        if found is not None and found.cost <= sum((plan.cost for plan in alone), NOTHING):
            return Whole(found.orders, bound, found.proven)
        apart = self.planner.as_one(alone)
        if found is not None and found.cost < total(apart):
            apart = found.orders
        return Whole(apart, min(bound, total(apart)), proven=False)

    def _group(
        self,
        kept: Sequence[Pledge],
        group: frozenset[UUID],
        whole: Whole,
        alone: Mapping[UUID, Plan],
        left: Decimal,
    ) -> Plan | None:
        """None of a group for which there is no time in what is `left`."""
        needs = needs_of([pledge for pledge in kept if pledge.maker in group])
        seconds = min(OF_A_GROUP, left / (len(alone) + 1))
        if seconds < LEAST and (None, frozenset(needs)) not in self.plans:
            return None
        many = 2 * len(group) > len(alone)
        begin = whole.orders if many else self.planner.as_one([alone[one] for one in group])
        return self._plan(needs, seconds, begin)


def _by_maker(kept: Sequence[Pledge]) -> dict[UUID, list[Pledge]]:
    """Those who want some of the order, as they came, with what they want."""
    found: dict[UUID, list[Pledge]] = {}
    for pledge in kept:
        if pledge.quantity:
            found.setdefault(pledge.maker, []).append(pledge)
    return found
