"""What can be bought in a round, and the cheapest orders of it for what some of its makers need."""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.order_bills import SupplierOrder, bill, total
from ledger.order_plan import OrderPlan, order_plan
from ledger.order_terms import Key, Need, PackOffer, Terms
from ledger.round_pledges import Plan

# Of so many offers the cheapest is soon proven; of more, orders so near to it are enough.
_FEW: Final = 300
_NEAR: Final = Decimal("0.0002")


@dataclass(frozen=True, slots=True)
class Market:
    """What can be bought on a day, and each supplier's terms; `owns` are the markets of those
    makers that have offers or terms of their own, which nobody else sees."""

    offers: Sequence[PackOffer]
    terms: Mapping[Hashable, Terms]
    coin: Decimal
    owns: Mapping[UUID, "Market"] = field(default_factory=dict)

    @property
    def materials(self) -> set[UUID]:
        return {UUID(str(offer.material)) for offer in self.offers}

    def plan(
        self, needs: Sequence[Need], seconds: Decimal, begin: Sequence[SupplierOrder] = ()
    ) -> OrderPlan:
        """The cheapest orders for these needs, or the best found in `seconds`; of very many offers
        some that are two hundredths of a percent from it. `begin` are orders that do.

        Raises what `order_plan` raises.
        """
        wanted = {need.material for need in needs}
        many = sum(offer.material in wanted for offer in self.offers) > _FEW
        return order_plan(
            needs,
            self.offers,
            self.terms,
            coin=self.coin,
            seconds=seconds,
            within=_NEAR if many else Decimal(0),
            start=_packs(begin),
        )

    def own(self, maker: UUID, needs: Sequence[Need], seconds: Decimal) -> OrderPlan | None:
        """The same by a maker's own offers and terms beside those of all; None without any.

        Raises what `order_plan` raises.
        """
        own = self.owns.get(maker)
        return None if own is None else own.plan(needs, seconds)

    def as_one(self, plans: Sequence[Plan]) -> tuple[SupplierOrder, ...]:
        """The packs of several plans as one order of each supplier, which costs no more.

        Where more packs make the goods cheaper, they may come to less than the least amount of the
        supplier or than makes its freight free; then some more of the cheapest packs are ordered.
        """
        packs = _packs(order for plan in plans for order in plan.orders)
        apart: dict[Key, Decimal] = defaultdict(Decimal)
        for plan in plans:
            for order in plan.orders:
                apart[order.supplier] += order.cost
        found: list[SupplierOrder] = []
        for supplier, cost in apart.items():
            own = {offer: count for offer, count in packs.items() if offer.supplier == supplier}
            found += self._as_one(own, self.terms[supplier], cost)
        return tuple(found)

    def _as_one(
        self, packs: Mapping[PackOffer, int], terms: Terms, apart: Decimal
    ) -> tuple[SupplierOrder, ...]:
        more = dict(packs)
        (order,) = found = bill(more, self.terms, self.coin)
        cheapest = min(
            (line for line in order.lines if line.price), key=lambda one: one.price, default=None
        )
        enough = max(terms.minimum, terms.free_from or Decimal(0))
        while cheapest is not None and order.goods < enough and _falls_short(order, terms, apart):
            more[cheapest.offer] += 1
            (order,) = found = bill(more, self.terms, self.coin)
        return found


def _falls_short(order: SupplierOrder, terms: Terms, apart: Decimal) -> bool:
    return order.goods < terms.minimum or total([order]) > apart


def _packs(orders: Iterable[SupplierOrder]) -> dict[PackOffer, int]:
    found: dict[PackOffer, int] = defaultdict(int)
    for order in orders:
        for line in order.lines:
            found[line.offer] += line.packs
    return found
