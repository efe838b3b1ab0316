"""The offers of a day as an order plan asks for them, and plans for a round's quantities."""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from ledger.errors import MassMissing
from ledger.offer_reading import OfferOn
from ledger.order_plan import OrderPlan, order_plan
from ledger.order_terms import Need, PackOffer, Terms
from ledger.plan_offers import pack_offer, plan_terms


@dataclass(frozen=True, slots=True)
class Market:
    """What can be bought on a day, and each supplier's terms."""

    offers: Sequence[PackOffer]
    terms: Mapping[Hashable, Terms]
    coin: Decimal
    seconds: Decimal

    @property
    def materials(self) -> set[UUID]:
        return {UUID(str(offer.material)) for offer in self.offers}

    def plan(self, quantities: Mapping[UUID, Decimal]) -> OrderPlan:
        """The cheapest orders for these quantities, or the best found in `seconds`.

        Raises what `order_plan` raises.
        """
        needs = [Need(material, quantity) for material, quantity in quantities.items()]
        return order_plan(needs, self.offers, self.terms, coin=self.coin, seconds=self.seconds)


def market(
    offers: Iterable[OfferOn],
    mass_each: Mapping[UUID, Decimal | None],
    *,
    coin: Decimal,
    seconds: Decimal,
) -> Market:
    """The offers with whole packs; `mass_each` is in grams, of counted materials.

    Left out is what nobody can price: pieces of unknown mass whose freight goes by mass.
    """
    packs: list[PackOffer] = []
    terms: dict[Hashable, Terms] = {}
    for one in offers:
        try:
            pack = pack_offer(one, name="", mass_each=mass_each.get(one.material))
        except MassMissing:
            continue
        packs.append(pack)
        terms[one.supplier] = plan_terms(one.terms)
    return Market(packs, terms, coin, seconds)
