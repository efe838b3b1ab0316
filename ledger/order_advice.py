"""What to know beside a plan: the cost of ordering line by line, and what a little more would cost.

Pure. Money is in the co-op's currency, quantities are grams or pieces.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from math import ceil

from ledger.order_bills import SupplierOrder, bill, freight_of
from ledger.order_plan import CENT, OrderPlan
from ledger.order_terms import Key, Need, PackOffer, Terms


@dataclass(frozen=True, slots=True)
class Step:
    """A number of packs of an offer, the rest of the plan as it is.

    `cost` is what the supplier's order costs with it, `more` and `extra` are how much more that is
    than just the need, in goods and in money. `per_usable` is what the line adds to the order's
    cost for each gram or piece that is used before it expires, `months` how long it lasts; both
    None where use is not known. `expiring` is what would not be used in time.
    """

    packs: int
    quantity: Decimal
    cost: Decimal
    more: Decimal
    extra: Decimal
    expiring: Decimal
    per_usable: Decimal | None
    months: Decimal | None


@dataclass(frozen=True, slots=True)
class LineAdvice:
    """The steps of a line of the plan, and which of them is the cheapest for what is used.

    `best` is None where nothing is known of use and shelf life, or nothing is cheaper to use than
    what is planned.
    """

    offer: PackOffer
    planned: int
    steps: tuple[Step, ...]
    best: Step | None

    @property
    def as_planned(self) -> Step:
        """The step with as many packs as the plan has."""
        return next(step for step in self.steps if step.packs == self.planned)


def orders_line_by_line(
    needs: Sequence[Need],
    offers: Sequence[PackOffer],
    terms: Mapping[Key, Terms],
    *,
    coin: Decimal = CENT,
) -> tuple[SupplierOrder, ...]:
    """The orders that take each material where a kilogram that is needed costs least, as paid.

    Whole packs that cover the need, at the price of so many; freight and least amounts are only
    looked at when they are billed, and the goods of an order below its least amount cost that
    amount. Whether anything would expire is not looked at.
    """
    chosen: dict[PackOffer, int] = {}
    for need in needs:
        own = [offer for offer in offers if offer.material == need.material]
        if need.quantity > 0 and own:
            packs = {offer: _fewest(offer, need.quantity) for offer in own}
            offer = min(own, key=lambda one: packs[one] * one.price_of(packs[one]))
            chosen[offer] = packs[offer]
    paid = []
    for order in bill(chosen, terms, coin):
        asked = terms[order.supplier]
        goods = max(order.goods, asked.minimum)
        mass = sum((line.packs * line.offer.mass_g for line in order.lines), Decimal(0))
        freight = freight_of(goods, mass, asked, coin)
        paid.append(replace(order, goods=goods, freight=freight))
    return tuple(paid)


def advice(
    plan: OrderPlan,
    needs: Sequence[Need],
    terms: Mapping[Key, Terms],
    *,
    coin: Decimal = CENT,
) -> list[LineAdvice]:
    """For each line: just the need, what is planned, free freight, and each break above.

    Steps that would leave the supplier's least amount unreached are left out.
    """
    asked = {need.material: need for need in needs}
    held: dict[Key, Decimal] = defaultdict(Decimal)
    for offer, count in plan.packs.items():
        held[offer.material] += count * offer.size
    found = []
    for offer, planned in plan.packs.items():
        need = asked[offer.material]
        missing = need.quantity - (held[offer.material] - planned * offer.size)
        others = {o: n for o, n in plan.packs.items() if o.supplier == offer.supplier}
        without = {other: count for other, count in others.items() if other != offer}
        line = _Line(offer, need, missing, _in_time(offer, need, plan), without, terms, coin)
        steps = line.steps(planned)
        found.append(LineAdvice(offer, planned, steps, _best(steps, planned)))
    return found


def _in_time(offer: PackOffer, need: Need, plan: OrderPlan) -> Decimal | None:
    """What is used of the offer before it expires, beside what the plan has that expires before."""
    usable = offer.usable(need)
    if usable is None:
        return None
    before = [
        count * other.size
        for other, count in plan.packs.items()
        if other.material == offer.material and other != offer
        if (within := other.usable(need)) is not None and within <= usable
    ]
    return max(Decimal(0), usable - sum(before, Decimal(0)))


def _best(steps: Sequence[Step], planned: int) -> Step | None:
    """The step whose goods are the cheapest to use, all of them in time."""
    known = [(step.per_usable, step) for step in steps if step.per_usable is not None]
    in_time = [(each, step) for each, step in known if not step.expiring]
    if not in_time:
        return None
    best = min(in_time, key=lambda pair: (pair[0], pair[1].packs))[1]
    return best if best.packs != planned else None


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of a plan with what stands beside it in the supplier's order."""

    offer: PackOffer
    need: Need
    missing: Decimal
    usable: Decimal | None
    without: Mapping[PackOffer, int]
    terms: Mapping[Key, Terms]
    coin: Decimal

    def steps(self, planned: int) -> tuple[Step, ...]:
        counts = sorted(set(self._counts(planned)))
        goods = {count: self._order(count) for count in counts}
        asked = self.terms[self.offer.supplier]
        open_to = [count for count in counts if goods[count][0] >= asked.minimum]
        least = open_to[0]
        return tuple(
            self._step(count, goods[count][1], least, goods[least][1]) for count in open_to
        )

    def _counts(self, planned: int) -> Iterator[int]:
        fewest = _fewest(self.offer, self.missing)
        yield from (fewest, planned)
        yield from (step.from_packs for step in self.offer.prices if step.from_packs > fewest)
        asked = self.terms[self.offer.supplier]
        beside = sum((n * o.price_of(n) for o, n in self.without.items()), Decimal(0))
        lacking = (asked.free_from or Decimal(0)) - beside
        for step, following in zip(self.offer.prices, (*self.offer.prices[1:], None), strict=True):
            if step.price <= 0 or lacking <= 0:
                continue
            enough = max(step.from_packs, ceil(Fraction(lacking) / Fraction(step.price)))
            if enough > fewest and (following is None or enough < following.from_packs):
                yield enough

    def _order(self, count: int) -> tuple[Decimal, Decimal]:
        """The goods and the cost of the supplier's order with so many packs."""
        order = bill({**self.without, self.offer: count}, self.terms, self.coin)[0]
        return order.goods, order.cost

    def _step(self, count: int, cost: Decimal, least: int, least_cost: Decimal) -> Step:
        quantity = count * self.offer.size
        used = quantity if self.usable is None else min(quantity, self.usable)
        others = bill(self.without, self.terms, self.coin)
        own = cost - sum((order.cost for order in others), Decimal(0))
        monthly = self.need.use_per_month
        return Step(
            packs=count,
            quantity=quantity,
            cost=cost,
            more=quantity - least * self.offer.size,
            extra=cost - least_cost,
            expiring=quantity - used,
            per_usable=own / used if self.usable is not None and used else None,
            months=quantity / monthly if monthly else None,
        )


def _fewest(offer: PackOffer, quantity: Decimal) -> int:
    """The fewest packs that are sold and hold this."""
    return max(offer.prices[0].from_packs, ceil(Fraction(quantity) / Fraction(offer.size)))
