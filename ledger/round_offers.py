"""The offers of a day as an order plan asks for them."""

from collections.abc import Hashable, Iterable, Mapping
from decimal import Decimal
from uuid import UUID

from ledger.errors import MassMissing
from ledger.offer_reading import OfferOn
from ledger.order_terms import PackOffer, Terms
from ledger.plan_offers import pack_offer, plan_terms
from ledger.round_market import Market


def market(
    offers: Iterable[OfferOn],
    mass_each: Mapping[UUID, Decimal | None],
    *,
    coin: Decimal,
    owns: Mapping[UUID, Market] | None = None,
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
    return Market(packs, terms, coin, owns or {})
