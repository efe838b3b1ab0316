"""What to order: needs as told or as planned batches have them, offers of a day, and the cheapest.

Nothing is kept: the plan is worked out and told. Costs are in the co-op's currency.
"""

import time
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import ROUND_UP, Decimal
from typing import Final
from uuid import UUID

from formulas.requirements import requirements
from ledger.access import Actor, day_of, find_all, materials_for, suppliers_visible_to
from ledger.balances import stock
from ledger.errors import (
    Invalid,
    Sentence,
    placed,
)
from ledger.measuring import measure
from ledger.models import Material
from ledger.money import minor_unit, round_to_step
from ledger.offer_reading import OfferOn, offers_on
from ledger.order_advice import LineAdvice, advice, line_by_line
from ledger.order_plan import OrderPlan, order_plan
from ledger.order_terms import BudgetTooSmall, Need, NothingCovers, PackOffer, Terms, Why
from ledger.plan_offers import pack_offer, plan_terms
from ledger.quantities import Quantity
from ledger.roles import Verb
from ledger.usage_reading import monthly_use

# As many as are looked at by themselves too, to tell what ordering together saves.
FEW_MATERIALS: Final = 20
REMEDIES: Final = {
    Why.NOT_OFFERED: "Nobody offers {names}: write an offer, or leave it out.",
    Why.LEFT_OUT: "Only suppliers that are left out offer {names}: allow one of them.",
    Why.WOULD_EXPIRE: "Every pack of {names} would expire in part before it is used: find a smaller"
    " pack, or send allow_expiring: true.",
    Why.LEAST_AMOUNTS: "The least amounts of the suppliers ask for more of {names} than is used"
    " before it expires: order something else with it, or send allow_expiring: true.",
}


@dataclass(frozen=True, slots=True)
class GivenNeed:
    """A need as the maker tells it, in any unit of the material."""

    material: str
    quantity: Quantity
    use_per_month: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Limits:
    """What a plan has to keep to."""

    without: Sequence[str] = ()
    budget: Decimal | None = None
    allow_expiring: bool = False
    seconds: Decimal = Decimal(10)


@dataclass(frozen=True, slots=True)
class Ordering:
    """A plan with what it came from and what to know beside it.

    `apart` is what the materials would cost ordered one by one, each at its best; None where there
    are too many to tell in time.
    """

    day: date
    needs: tuple[tuple[Material, Need], ...]
    offers: Mapping[UUID, OfferOn]
    plan: OrderPlan
    line_by_line: Decimal
    apart: Decimal | None
    advice: tuple[LineAdvice, ...]

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
) -> Ordering:
    """The cheapest orders by the offers of a day, today if none is named.

    For the `needs`, or for what batches planned up to `until` lack of what is not made here. Where
    a need says nothing of its use, that of the last half year is taken, if there was any. Raises
    Forbidden, NotFound, Invalid, NothingCovers, BudgetTooSmall, PlanNotFound, MassMissing, and what
    turning a quantity into grams or pieces raises.
    """
    actor.must(Verb.SEE_OFFERS)
    began = time.monotonic_ns()
    today = day_of(actor, now)
    if (needs is None) == (until is None):
        raise Invalid("Send either needs or until: the day up to which batches are planned.")
    left_out = _suppliers(actor, limits.without)
    told = _given(actor, needs) if needs is not None else _lacking(actor, today, until or today)
    wanted = _with_use(actor, told, limits.allow_expiring, now)
    materials = {material.id: material for material, _ in wanted}
    on = day or today
    offers = offers_on(actor, day=on, materials=list(materials), measured=False)
    asking = _Asking(
        tuple(need for _, need in wanted),
        tuple(_pack(offer, materials[offer.material]) for offer in offers),
        {offer.supplier: plan_terms(offer.terms) for offer in offers},
        minor_unit(actor.currency),
        left_out,
        began + int(limits.seconds * 10**9),
    )
    try:
        plan = asking.plan(asking.needs, budget=limits.budget)
    except NothingCovers as refusal:
        raise _named(refusal, materials) from refusal
    except BudgetTooSmall as refusal:
        raise _in_coins(refusal, asking.coin) from refusal
    return Ordering(
        day=on,
        needs=tuple(wanted),
        offers={offer.offer: offer for offer in offers},
        plan=plan,
        line_by_line=line_by_line(asking.needs, asking.open_to, asking.terms, coin=asking.coin),
        apart=asking.apart(),
        advice=tuple(advice(plan, asking.needs, asking.terms, coin=asking.coin)),
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

    def apart(self) -> Decimal | None:
        """What each need costs at its best by itself, summed; None if the time does not do, or one
        of them cannot be ordered by itself."""
        if len(self.needs) > FEW_MATERIALS:
            return None
        cost = Decimal(0)
        for need in self.needs:
            try:
                plan = self.plan([need])
            except NothingCovers:
                return None
            if not plan.proven:
                return None
            cost += plan.cost
        return cost


def _suppliers(actor: Actor, without: Sequence[str]) -> frozenset[UUID]:
    placed_at = [(id, f"/without/{place}") for place, id in enumerate(without)]
    return frozenset(one.id for one in find_all(suppliers_visible_to(actor), placed_at))


Told = list[tuple[Material, Decimal, Decimal | None]]


def _given(actor: Actor, needs: Sequence[GivenNeed]) -> Told:
    """Materials with what is needed of them and used of them in a month, as told."""
    wanted = [(need.material, f"/needs/{place}/material") for place, need in enumerate(needs)]
    found: Told = []
    for place, (need, material) in enumerate(zip(needs, materials_for(actor, wanted), strict=True)):
        if any(material == other for other, _, _ in found):
            raise Invalid(
                Sentence("{material} is needed twice: add its needs up.", material=material.name),
                pointer=f"/needs/{place}/material",
            )
        with placed(f"/needs/{place}/quantity"):
            quantity = measure(need.quantity, material).quantity
        use = None
        if need.use_per_month is not None:
            with placed(f"/needs/{place}/use_per_month"):
                use = measure(need.use_per_month, material).quantity
        found.append((material, quantity, use))
    return found


def _lacking(actor: Actor, today: date, until: date) -> Told:
    """What planned batches lack of what is not made here."""
    rows = requirements(actor, today=today, until=until, with_leads=False).rows
    return [
        (row.material, row.record.net, None)
        for row in rows
        if row.record.formula is None and row.record.net > 0
    ]


def _with_use(
    actor: Actor, told: Told, allow_expiring: bool, now: datetime
) -> list[tuple[Material, Need]]:
    """The needs with their use: as told, or else as measured, and then the need itself is sure to
    be used. Who acts for the co-op alone has neither stock nor use."""
    ids = [material.id for material, _, _ in told]
    measured: Mapping[UUID, Decimal] = {}
    usable: Mapping[UUID, Decimal] = {}
    if actor.maker_id is not None and not allow_expiring:
        measured = monthly_use(actor, materials=ids, now=now)
        rows = stock(actor, now=now, materials=ids, limit=max(1, len(ids)))
        usable = {row.material_id: row.usable for row in rows}
    found = []
    for material, quantity, use in told:
        per_month = measured.get(material.id) if use is None else use
        need = Need(
            material.id,
            quantity,
            None if allow_expiring else per_month,
            in_store=usable.get(material.id, Decimal(0)),
            sure=quantity if use is None else Decimal(0),
        )
        found.append((material, need))
    return found


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
