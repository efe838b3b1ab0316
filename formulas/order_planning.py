"""What to order: needs as told or as batches and stock have them, offers of a day, the cheapest.

Nothing is kept: the plan is worked out and told. Costs are in the co-op's currency.
"""

import time
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import ROUND_UP, Decimal
from typing import Final
from uuid import UUID

from formulas.order_needs import GivenNeed, Lack, given, lacking, with_use
from ledger.access import Actor, day_of, find_all, materials_for, suppliers_visible_to
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.models import Material
from ledger.money import minor_unit, round_to_step
from ledger.offer_reading import OfferOn, offers_on
from ledger.order_advice import LineAdvice, advice, orders_line_by_line
from ledger.order_bills import SupplierOrder
from ledger.order_plan import OrderPlan, order_plan
from ledger.order_terms import BudgetTooSmall, Need, NothingCovers, PackOffer, Terms, Why
from ledger.plan_offers import pack_offer, plan_terms
from ledger.reordering import Reorder
from ledger.roles import Verb

ZERO: Final = Decimal(0)
# As many as are looked at by themselves too, to tell what ordering together saves.
FEW_MATERIALS: Final = 20
REMEDIES: Final = {
    Why.NOT_OFFERED: "Nobody offers {names}: write an offer, or leave it out.",
    Why.LEFT_OUT: "Only suppliers that are left out offer {names}: allow one of them.",
    Why.WOULD_EXPIRE: "Every pack of {names} would expire in part before it is used: find a smaller"
    " pack, or choose allow_expiring.",
    Why.TOO_LATE: "No offer of {names} comes by the day on which it is needed: name a later day, or"
    " none.",
    Why.LEAST_AMOUNTS: "The least amounts of the suppliers ask for more of {names} than is used"
    " before it expires: order something else with it, or choose allow_expiring.",
}


@dataclass(frozen=True, slots=True)
class Limits:
    """What a plan has to keep to. Of a material by its id, `at_least` so many grams or pieces are
    bought where some of it is needed."""

    without: Sequence[str] = ()
    at_least: Mapping[str, Decimal] = field(default_factory=dict)
    budget: Decimal | None = None
    allow_expiring: bool = False
    seconds: Decimal = Decimal(10)


@dataclass(frozen=True, slots=True)
class Ordering:
    """A plan with what it came from and what to know beside it.

    `by_line` are the orders that line by line would be. `one_by_one` is what each material would
    cost ordered by itself, at its best; None where there are too many to tell in time. `low` says
    by material which stood at or below its point, and `not_offered` which of them are left out,
    since nobody that is asked offers them and no batch lacks them.
    """

    day: date
    needs: tuple[tuple[Material, Need], ...]
    offers: Mapping[UUID, OfferOn]
    plan: OrderPlan
    by_line: tuple[SupplierOrder, ...]
    one_by_one: tuple[tuple[Material, Decimal], ...] | None
    advice: tuple[LineAdvice, ...]
    low: Mapping[UUID, Reorder] = field(default_factory=dict)
    not_offered: tuple[Material, ...] = ()

    @property
    def line_by_line(self) -> Decimal:
        return sum((one.cost for one in self.by_line), ZERO)

    @property
    def apart(self) -> Decimal | None:
        if self.one_by_one is None:
            return None
        return sum((cost for _, cost in self.one_by_one), ZERO)

    @property
    def saving(self) -> Decimal:
        """Against line by line; below zero only where that cannot be ordered."""
        return self.line_by_line - self.plan.cost


def plan_orders(
    actor: Actor,
    *,
    needs: Sequence[GivenNeed] | None,
    until: date | None,
    day: date | None,
    limits: Limits,
    now: datetime,
    only: Sequence[str] | None = None,
) -> Ordering:
    """The cheapest orders by the offers of a day, today if none is named.

    For the `needs`, or for what batches planned up to `until` lack of what is bought and what is
    at or below its watched point; of the materials of `only`, if it names any. Where a need says
    nothing of its use, that of the last half year is taken, if there was any. Raises
    Forbidden, NotFound, Invalid, NothingCovers, BudgetTooSmall, PlanNotFound, MassMissing, and what
    turning a quantity into grams or pieces raises.
    """
    actor.must(Verb.SEE_OFFERS)
    began, on = time.monotonic_ns(), day or day_of(actor, now)
    left_out = _suppliers(actor, limits.without)
    told = _told(actor, needs, until, only, now)
    offers = _offers(actor, told, on)
    asked = {offer.material for offer in offers if offer.supplier not in left_out}
    told, unoffered = _parted(told, asked)
    wanted = with_use(
        actor, told, allow_expiring=limits.allow_expiring, at_least=limits.at_least, now=now
    )
    materials = {one.material.id: one.material for one in told}
    asking = _Asking(
        tuple(need for _, need in wanted),
        tuple(_pack(one, materials[one.material]) for one in offers if one.material in materials),
        {offer.supplier: plan_terms(offer.terms) for offer in offers},
        minor_unit(actor.currency),
        left_out,
        began + int(limits.seconds * 10**9),
    )
    plan = _cheapest(asking, limits.budget, materials)
    return Ordering(
        day=on,
        needs=tuple((one.material, need) for one, need in wanted),
        offers={offer.offer: offer for offer in offers},
        plan=plan,
        by_line=orders_line_by_line(asking.needs, asking.open_to, asking.terms, coin=asking.coin),
        one_by_one=_one_by_one(asking, wanted),
        advice=tuple(advice(plan, asking.needs, asking.terms, coin=asking.coin)),
        low={one.material.id: one.reorder for one in told if one.reorder},
        not_offered=unoffered,
    )


@dataclass(frozen=True, slots=True)
class _Asking:
    """All that a plan is made of, and until when it may take."""

    needs: tuple[Need, ...]
    offers: tuple[PackOffer, ...]
    terms: Mapping[UUID, Terms]
    coin: Decimal
    without: frozenset[UUID]
    until: int

    @property
    def open_to(self) -> tuple[PackOffer, ...]:
        return tuple(offer for offer in self.offers if offer.supplier not in self.without)

    def plan(self, needs: Sequence[Need], *, budget: Decimal | None = None) -> OrderPlan:
        left = Decimal(self.until - time.monotonic_ns()).scaleb(-9)
        return order_plan(
            needs,
            self.offers,
            self.terms,
            without=self.without,
            budget=budget,
            coin=self.coin,
            seconds=max(Decimal(0), left),
        )


def _one_by_one(
    asking: _Asking, wanted: Sequence[tuple[Lack, Need]]
) -> tuple[tuple[Material, Decimal], ...] | None:
    """What each need costs at its best by itself; None if the time does not do, or one of them
    cannot be ordered by itself."""
    if len(wanted) > FEW_MATERIALS:
        return None
    costs = []
    for told, need in wanted:
        try:
            plan = asking.plan([need])
        except NothingCovers:
            return None
        if not plan.proven:
            return None
        costs.append((told.material, plan.cost))
    return tuple(costs)


def _cheapest(
    asking: _Asking, budget: Decimal | None, materials: Mapping[UUID, Material]
) -> OrderPlan:
    """The plan for all needs; what it is refused for, in the words of whoever asks."""
    try:
        return asking.plan(asking.needs, budget=budget)
    except NothingCovers as refusal:
        raise _named(refusal, materials) from refusal
    except BudgetTooSmall as refusal:
        raise _in_coins(refusal, asking.coin) from refusal


def _told(
    actor: Actor,
    needs: Sequence[GivenNeed] | None,
    until: date | None,
    only: Sequence[str] | None,
    now: datetime,
) -> list[Lack]:
    """What is to be covered, of these materials alone if any are named."""
    if needs is not None and until is None:
        told = given(actor, needs)
    elif until is not None and needs is None:
        told = lacking(actor, until=until, now=now)
    else:
        raise Invalid("Send either needs or until: the day up to which batches are planned.")
    alone = _materials(actor, only)
    return [one for one in told if alone is None or one.material.id in alone]


def _materials(actor: Actor, only: Sequence[str] | None) -> frozenset[UUID] | None:
    if only is None:
        return None
    found = materials_for(actor, [(id, f"/only/{n}") for n, id in enumerate(only)])
    return frozenset(one.id for one in found)


def _offers(actor: Actor, told: Sequence[Lack], day: date) -> list[OfferOn]:
    """The offers that come by the day on which their material is needed, as far as that is known.

    Raises NothingCovers where all that there are of a material come too late.
    """
    dated = any(one.by is not None for one in told)
    ids = [one.material.id for one in told]
    offers = offers_on(actor, day=day, materials=ids, measured=dated)
    by = {one.material.id: one.by for one in told if one.by is not None}
    found = [
        offer
        for offer in offers
        if (last := by.get(offer.material)) is None
        or day + timedelta(days=offer.lead_time_days or 0) <= last
    ]
    late = {offer.material for offer in offers} - {offer.material for offer in found}
    if late:
        names = {one.material.id: one.material for one in told}
        raise _named(NothingCovers(materials=sorted(late), reason=Why.TOO_LATE), names)
    return found


def _parted(
    told: Sequence[Lack], offered: Collection[UUID]
) -> tuple[list[Lack], tuple[Material, ...]]:
    """What is to be covered, and what is only low and offered by nobody that is asked."""
    covered = [one for one in told if one.batch or one.material.id in offered]
    kept = {one.material.id for one in covered}
    return covered, tuple(one.material for one in told if one.material.id not in kept)


def _suppliers(actor: Actor, without: Sequence[str]) -> frozenset[UUID]:
    placed_at = [(id, f"/without/{place}") for place, id in enumerate(without)]
    return frozenset(one.id for one in find_all(suppliers_visible_to(actor), placed_at))


def _pack(offer: OfferOn, material: Material) -> PackOffer:
    return pack_offer(offer, name=material.name, mass_each=material.mass_each)


def _in_coins(refusal: BudgetTooSmall, coin: Decimal) -> BudgetTooSmall:
    """The refusal as it is paid, placed at the budget."""
    least, bound = (
        round_to_step(refusal.facts[name], coin, ROUND_UP) for name in ("least", "bound")
    )
    proven = refusal.facts["proven"]
    return BudgetTooSmall(least=least, bound=bound, proven=proven, pointer="/budget")


def _named(refusal: NothingCovers, materials: Mapping[UUID, Material]) -> NothingCovers:
    """The refusal with the names of the materials, and what to do."""
    ids: Collection[UUID] = refusal.facts["materials"]
    reason = Why(refusal.facts["reason"])
    names = ", ".join(sorted(materials[id].name for id in ids))
    return NothingCovers(
        Sentence(REMEDIES[reason], names=names), materials=ids, reason=reason.value
    )
