"""The cheapest packs over all suppliers that cover what is needed, proven or with its bound.

Pure: needs, offers and terms in, packs out. In three stages, so that something good is there
early: the cheapest cover of each material at each supplier, a choice among those covers, packs anew
with the suppliers of that choice, and then the whole question from that start. Costs are reckoned
anew from the packs; what comes from the solver is only which packs, and the bound.
"""

import time
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from ledger.order_bills import SupplierOrder, bill, keeps_the_terms, total
from ledger.order_numbers import in_whole_numbers
from ledger.order_stages import search
from ledger.order_terms import (
    BudgetTooSmall,
    Key,
    Need,
    NothingCovers,
    PackOffer,
    PlanNotFound,
    Terms,
    Why,
    must_be_sound,
)

CENT: Final = Decimal("0.01")
A_WHILE: Final = Decimal(10)


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """What to order of whom, what it costs, and what no plan can cost less than.

    `proven` says that there is no cheaper one; `gap` is the part of the cost that is not.
    """

    orders: tuple[SupplierOrder, ...]
    cost: Decimal
    bound: Decimal
    proven: bool
    seconds: Decimal

    @property
    def gap(self) -> Decimal:
        return (self.cost - self.bound) / self.cost if self.cost else Decimal(0)

    @property
    def packs(self) -> dict[PackOffer, int]:
        return {line.offer: line.packs for order in self.orders for line in order.lines}


def order_plan(
    needs: Sequence[Need],
    offers: Sequence[PackOffer],
    terms: Mapping[Key, Terms],
    *,
    without: Collection[Key] = (),
    budget: Decimal | None = None,
    coin: Decimal = CENT,
    seconds: Decimal = A_WHILE,
    within: Decimal = Decimal(0),
    start: Mapping[PackOffer, int] | None = None,
) -> OrderPlan:
    """The cheapest plan for `needs`, or the best in `seconds`, or one `within` a part of the best.

    `terms` has those of each supplier that offers something; of suppliers in `without` nothing is
    bought; `start` are packs to begin from, such as those of a plan for more. Raises Invalid for
    figures that cannot be meant, NothingCovers for a material that no offer covers, BudgetTooSmall
    with the least that would do, and PlanNotFound where the time was too short to find any plan.
    """
    began = time.monotonic_ns()
    must_be_sound(needs, offers, [terms[offer.supplier] for offer in offers])
    wanted = [need for need in needs if need.quantity > 0]
    asked = {need.material for need in wanted}
    usable = [o for o in offers if o.supplier not in without and o.material in asked]
    _must_be_offered(wanted, offers, usable)
    question = in_whole_numbers(wanted, usable, terms, coin)

    def judge(packs: Sequence[int]) -> int | None:
        chosen = {offer: count for offer, count in zip(usable, packs, strict=True) if count}
        if not keeps_the_terms(chosen, wanted, terms):
            return None
        return int(Fraction(total(bill(chosen, terms, coin))) * question.steps)

    until = began + int(seconds * 10**9)
    first = [start.get(offer, 0) for offer in usable] if start else None
    found = search(question, judge, until=until, within=within, first=first)
    if found.impossible:
        raise _expiring(wanted, usable, coin, until)
    if found.packs is None:
        raise PlanNotFound
    orders = bill(dict(zip(usable, found.packs, strict=True)), terms, coin)
    cost = total(orders)
    bound = min(cost, _money(found.bound, question.steps))
    plan = OrderPlan(orders, cost, bound, bound == cost, _seconds_since(began))
    if budget is not None and cost > budget:
        raise BudgetTooSmall(least=cost, bound=bound, proven=plan.proven)
    return plan


def _must_be_offered(
    needs: Sequence[Need], offers: Sequence[PackOffer], usable: Sequence[PackOffer]
) -> None:
    covered = {offer.material for offer in usable}
    missing = [need.material for need in needs if need.material not in covered]
    if missing:
        offered = {offer.material for offer in offers}
        nowhere = [material for material in missing if material not in offered]
        reason = Why.NOT_OFFERED if nowhere else Why.LEFT_OUT
        raise NothingCovers(materials=nowhere or missing, reason=reason)


def _expiring(
    needs: Sequence[Need], offers: Sequence[PackOffer], coin: Decimal, until: int
) -> NothingCovers:
    """Which materials cannot be covered, each by itself, without packs that would expire; if each
    can, it is the least amounts that ask for more than would be used."""
    found = []
    for need in needs:
        own = [offer for offer in offers if offer.material == need.material]
        free = {offer.supplier: Terms() for offer in own}
        alone = in_whole_numbers([need], own, free, coin)
        if search(alone, lambda _: 0, until=until, within=Decimal(0)).impossible:
            found.append(need.material)
    if found:
        return NothingCovers(materials=found, reason=Why.WOULD_EXPIRE)
    return NothingCovers(
        materials=[need.material for need in needs if need.use_per_month is not None],
        reason=Why.LEAST_AMOUNTS,
    )


def _money(steps: int, of_unit: int) -> Decimal:
    """So many steps in the currency's unit, exactly: a step is a decimal fraction of it."""
    return Decimal(steps) / of_unit


def _seconds_since(began: int) -> Decimal:
    return Decimal(time.monotonic_ns() - began).scaleb(-9).quantize(Decimal("0.001"))
