"""An offer of a day, and its supplier's terms, as the order plan asks for them."""

from decimal import Decimal
from typing import Final

from ledger.errors import MassMissing
from ledger.offer_prices import FreightKind, packs_for, price_at
from ledger.offer_reading import OfferOn, TermsOn
from ledger.order_terms import PackOffer, PackPrice, Terms
from ledger.usage_reading import DAYS_A_MONTH

NOTHING: Final = Decimal(0)


def pack_offer(one: OfferOn, *, name: str, mass_each: Decimal | None) -> PackOffer:
    """An offer in whole packs: breaks by their number, shelf life in months.

    `mass_each` is in grams, of a counted material. Raises MassMissing with the material's `name`
    for pieces of unknown mass whose freight goes by mass.
    """
    return PackOffer(
        key=one.offer,
        supplier=one.supplier,
        material=one.material,
        size=one.pack,
        prices=pack_prices(one),
        mass_g=_mass(one, name, mass_each),
        shelf_months=None if one.shelf_life_days is None else one.shelf_life_days / DAYS_A_MONTH,
    )


def plan_terms(terms: TermsOn) -> Terms:
    """A supplier's terms of a day as the plan has them."""
    freight = terms.freight
    amount = {freight.kind: freight.amount}
    return Terms(
        minimum=terms.minimum or NOTHING,
        flat=amount.get(FreightKind.FLAT, NOTHING),
        per_kg=amount.get(FreightKind.MASS, NOTHING),
        free_from=freight.free_from,
    )


def pack_prices(one: OfferOn) -> tuple[PackPrice, ...]:
    """The price of a pack from the least number on that is sold, and from each break on."""
    least = max(1, one.least_packs)
    starts = {least} | {packs_for(step.at_least, one.pack) for step in one.breaks}
    return tuple(
        PackPrice(packs, price_at(packs, pack=one.pack, price=one.price, breaks=one.breaks))
        for packs in sorted(starts)
        if packs >= least
    )


def _mass(one: OfferOn, name: str, mass_each: Decimal | None) -> Decimal:
    if not one.counted:
        return one.pack
    if mass_each is not None:
        return one.pack * mass_each
    if one.terms.freight.kind is FreightKind.MASS:
        raise MassMissing(name=name)
    return NOTHING
