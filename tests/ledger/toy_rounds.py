"""A round of one supplier whose cheapest orders are found by trying, for tests of the reckoning."""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from math import ceil
from typing import Any
from uuid import UUID

from ledger.order_bills import SupplierOrder, bill, total
from ledger.order_terms import Need, PackOffer, PackPrice, Terms
from ledger.round_pledges import Plan, Pledge, Reckoned
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

    @property
    def bound(self) -> Decimal:
        return self.cost if self.proven else D(0)


Orders = Callable[[Mapping[UUID, Decimal]], Ordered]


def order(quantities: Mapping[UUID, Decimal]) -> Ordered:
    """The cheapest of one offer each: as many packs as are needed, or up to the break."""
    choices = []
    needed = {m: ceil(quantity / OFFERS[m].size) for m, quantity in quantities.items()}
    for extra in range(6):
        for counts in (needed, needed | {OIL: needed.get(OIL, 0) + extra}):
            packs = {OFFERS[material]: count for material, count in counts.items()}
            choices.append(bill(packs, TERMS, CENT))
    return Ordered(min(choices, key=total))


@dataclass
class Toy:
    """A planner by a function, and for those who have offers of their own by theirs."""

    order: Orders = order
    owns: Mapping[UUID, Orders] = field(default_factory=dict)
    terms: Mapping[Hashable, Terms] = field(default_factory=lambda: TERMS)

    def plan(
        self, needs: Sequence[Need], seconds: Decimal, begin: Sequence[SupplierOrder] = ()
    ) -> Plan:
        return self.order({need.material: need.quantity for need in needs})

    def own(self, maker: UUID, needs: Sequence[Need], seconds: Decimal) -> Plan | None:
        wants = {need.material: need.quantity for need in needs}
        return self.owns[maker](wants) if maker in self.owns else None

    def as_one(self, plans: Sequence[Plan]) -> tuple[SupplierOrder, ...]:
        packs: dict[PackOffer, int] = {}
        for plan in plans:
            for line in (line for one in plan.orders for line in one.lines):
                packs[line.offer] = packs.get(line.offer, 0) + line.packs
        return bill(packs, self.terms, CENT)


def reckoned(*pledges: Pledge, planner: Orders = order, **facts: Any) -> Reckoned:
    toy = Toy(planner, **facts)
    return reckon(pledges, toy, set(OFFERS), coin=CENT, seconds=D(60))


def oil(maker: UUID, grams: int | None, highest: str = "", leftover: bool = False) -> Pledge:
    quantity = None if grams is None else D(grams)
    return Pledge(maker, OIL, quantity, False, D(highest) if highest else None, leftover)


def paid(found: Reckoned) -> dict[UUID, Decimal]:
    return {share.maker: share.amount for share in found.shares}
