"""The offers of a day as an order plan asks for them, and plans for a round's quantities."""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.offer_prices import FreightKind, packs_for, price_at
from ledger.offer_reading import OfferOn, TermsOn
from ledger.order_plan import OrderPlan, order_plan
from ledger.order_terms import Need, PackOffer, PackPrice, Terms

NOTHING: Final = Decimal(0)


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
        mass = one.pack
        if one.counted:
            each = mass_each.get(one.material)
            if each is None and one.terms.freight.kind is FreightKind.MASS:
                continue
            mass = one.pack * (each or NOTHING)
        terms[one.supplier] = _terms(one.terms)
        packs.append(
            PackOffer(
                key=one.offer,
                supplier=one.supplier,
                material=one.material,
                size=one.pack,
                prices=_prices(one),
                mass_g=mass,
            )
        )
    return Market(packs, terms, coin, seconds)


def _prices(one: OfferOn) -> tuple[PackPrice, ...]:
    """The price of a pack from the least number on that is sold, and from each break on."""
    starts = {one.least_packs}
    starts |= {packs_for(step.at_least, one.pack) for step in one.breaks}
    return tuple(
        PackPrice(packs, price_at(packs, pack=one.pack, price=one.price, breaks=one.breaks))
        for packs in sorted(starts)
        if packs >= one.least_packs
    )


def _terms(terms: TermsOn) -> Terms:
    freight = terms.freight
    amount = {freight.kind: freight.amount}
    return Terms(
        minimum=terms.minimum or NOTHING,
        flat=amount.get(FreightKind.FLAT, NOTHING),
        per_kg=amount.get(FreightKind.MASS, NOTHING),
        free_from=freight.free_from,
    )
