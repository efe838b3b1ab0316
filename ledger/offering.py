"""What a maker or the coordinator writes of a supplier's offers: packs, prices, terms.

Prices are private to the maker unless it opens them to the co-op; the coordinator, who acts for no
maker, writes for all. Nothing is overwritten: a new price is a new row with the day from which it
holds, and a correction is a later row for the same day.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db.models import Q

from ledger.access import Actor, material_for, supplier_for
from ledger.entries import explained
from ledger.errors import (
    Conflict,
    Invalid,
    Sentence,
    placed,
)
from ledger.in_parts import Told, parts_of, silent
from ledger.measuring import Measured, measure
from ledger.models import Material, Offer, OfferBreak, OfferPrice, Supplier, SupplierTerms
from ledger.money import minor_units
from ledger.offer_prices import FreightKind, PackBreak, check_breaks, in_own_currency
from ledger.offer_reading import offer_for
from ledger.price_jumps import owe_review
from ledger.quantities import Density, Quantity
from ledger.roles import Verb

# So many rows are written at once; a statement must not take too long.
AT_ONCE: Final = 1_000


@dataclass(frozen=True, slots=True)
class BreakFacts:
    """From so much in one order on, each pack of it costs this."""

    at_least: Quantity
    price: Decimal


@dataclass(frozen=True, slots=True)
class PriceFacts:
    """What a pack costs from a day on. `rate` is the co-op's currency for one of `currency`."""

    valid_from: date
    price: Decimal
    currency: str = ""
    rate: Decimal | None = None
    breaks: Sequence[BreakFacts] = ()
    least_packs: int = 1
    lead_time_days: int | None = None
    shelf_life_days: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class TermsFacts:
    """What holds for a whole order from a day on; amounts are in `currency`."""

    valid_from: date
    currency: str = ""
    rate: Decimal | None = None
    minimum: Decimal | None = None
    freight_kind: str = FreightKind.NONE.value
    freight: Decimal | None = None
    free_from: Decimal | None = None
    lead_time_days: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Priced:
    """A price with its breaks, ready to be kept."""

    price: OfferPrice
    breaks: Sequence[OfferBreak]


def add_offer(
    actor: Actor,
    *,
    supplier: UUID | str,
    material: UUID | str,
    pack: Quantity,
    price: PriceFacts,
    article_code: str = "",
    density: Density | None = None,
    opened: bool | None = None,
) -> Offer:
    """Write a supplier's pack with its first price, for the maker alone or `opened` to the co-op.

    A volume needs a density: the offer's own before the material's. Raises NotFound, Forbidden,
    Conflict for a pack that is offered already, DensityMissing, UnitWrong, CurrencyUnknown,
    Invalid, each with its pointer.
    """
    actor.must(Verb.OFFER)
    seller = supplier_for(actor, supplier, pointer="/supplier")
    sold = material_for(actor, material, pointer="/material")
    owner = owner_of(actor, opened)
    offer = pack_of(actor, owner, seller, sold, pack, article_code=article_code, density=density)
    same = Offer.objects.filter(
        Q(maker__isnull=True) if owner is None else Q(maker_id=owner),
        coop_id=actor.coop_id,
        supplier=seller,
        material=sold,
        article_code=article_code,
        quantity=offer.quantity,
    )
    for id in same.values_list("id", flat=True):
        raise Conflict("This pack is offered already: add a price to that offer.", offer=id)
    priced = price_of(actor, offer, price)
    keep(actor, [offer], [priced])
    return offer_for(actor, offer.id, on=price.valid_from)


def reprice(actor: Actor, *, offer: UUID | str, price: PriceFacts) -> Offer:
    """Say what a pack costs from a day on; what held before stays in its history.

    Raises NotFound, Forbidden, and what turning the facts into a price raises.
    """
    actor.must(Verb.OFFER)
    found = offer_for(actor, offer, on=price.valid_from)
    keep(actor, [], [price_of(actor, found, price)])
    return offer_for(actor, found.id, on=price.valid_from)


def withdraw_offer(actor: Actor, *, offer: UUID | str, valid_from: date, note: str = "") -> Offer:
    """Say that a pack is not offered any more from a day on. Raises NotFound and Forbidden."""
    actor.must(Verb.OFFER)
    found = offer_for(actor, offer, on=valid_from)
    over = OfferPrice(**_of(actor, found.maker_id), offer=found, valid_from=valid_from, note=note)
    keep(actor, [], [Priced(over, ())])
    return offer_for(actor, found.id, on=valid_from)


def set_supplier_terms(
    actor: Actor, *, supplier: UUID | str, terms: TermsFacts, opened: bool | None = None
) -> SupplierTerms:
    """Say what holds for a whole order to a supplier from a day on: minimum, freight, lead time.

    Raises NotFound, Forbidden, CurrencyUnknown, Invalid.
    """
    actor.must(Verb.OFFER)
    seller = supplier_for(actor, supplier)
    if (terms.freight_kind == FreightKind.NONE) != (terms.freight is None):
        raise Invalid(
            "Freight that is flat or goes by mass has an amount; without freight, leave it out.",
            pointer="/freight",
        )
    if terms.freight_kind == FreightKind.NONE and terms.free_from is not None:
        raise Invalid(
            "Where there is no freight, none is free from an amount on: leave it out.",
            pointer="/free_from",
        )
    currency, rate = currency_of(actor, terms.currency, terms.rate)
    amounts = {"minimum": terms.minimum, "freight": terms.freight, "free_from": terms.free_from}
    row = SupplierTerms(
        **_of(actor, owner_of(actor, opened)),
        supplier=seller,
        valid_from=terms.valid_from,
        currency=currency,
        rate=rate,
        freight_kind=terms.freight_kind,
        lead_time_days=terms.lead_time_days,
        note=terms.note,
    )
    for name, amount in amounts.items():
        with placed(f"/{name}"):
            own = None if amount is None else in_own_currency(amount, rate)
        setattr(row, name, amount)
        setattr(row, f"own_{name}", own)
    with explained():
        row.save(force_insert=True)
    return row


def owner_of(actor: Actor, opened: bool | None) -> UUID | None:
    """The maker that a row is of, or None for the whole co-op.

    Who acts for no maker writes for all. Raises Forbidden where that is not what was asked for.
    """
    if opened or (opened is None and actor.maker_id is None):
        return None
    return actor.maker


def pack_of(
    actor: Actor,
    owner: UUID | None,
    supplier: Supplier,
    material: Material,
    pack: Quantity,
    *,
    article_code: str,
    density: Density | None,
) -> Offer:
    """An offer that is not kept yet. Raises NotFound, DensityMissing, UnitWrong, CountNotWhole."""
    if owner is None and material.maker_id is not None:
        raise Invalid("Only what all makers know can be opened to the co-op.", pointer="/material")
    with placed("/pack"):
        measured = measure(pack, material, density)
    used = density or measured.density
    return Offer(
        **_of(actor, owner),
        supplier=supplier,
        material=material,
        article_code=article_code,
        entered=pack.entered,
        quantity=measured.quantity,
        density=used and used.grams_per_millilitre,
        density_at=used and used.celsius,
        density_entered=used.entered if used else "",
        density_of="" if used is None else "offer" if density else "material",
    )


def price_of(actor: Actor, offer: Offer, facts: PriceFacts) -> Priced:
    """A price that is not kept yet. Raises CurrencyUnknown, Invalid and what its breaks raise."""
    currency, rate = currency_of(actor, facts.currency, facts.rate)
    with placed("/price"):
        own = in_own_currency(facts.price, rate)
    price = OfferPrice(
        **_of(actor, offer.maker_id),
        offer=offer,
        valid_from=facts.valid_from,
        price=facts.price,
        currency=currency,
        rate=rate,
        own_price=own,
        least_packs=facts.least_packs,
        lead_time_days=facts.lead_time_days,
        shelf_life_days=facts.shelf_life_days,
        note=facts.note,
    )
    with placed("/breaks"):
        measured = [_measure(place, one, offer) for place, one in enumerate(facts.breaks)]
        steps = [
            PackBreak(m.quantity, b.price) for m, b in zip(measured, facts.breaks, strict=True)
        ]
        check_breaks(pack=offer.quantity, price=facts.price, breaks=steps)
    breaks = [
        OfferBreak(
            coop_id=actor.coop_id,
            maker_id=offer.maker_id,
            offer_price=price,
            position=place,
            entered=at.entered,
            quantity=at.quantity,
            price=step.price,
            own_price=in_own_currency(step.price, rate),
        )
        for place, (at, step) in enumerate(zip(measured, steps, strict=True))
    ]
    return Priced(price, breaks)


def currency_of(actor: Actor, currency: str, rate: Decimal | None) -> tuple[str, Decimal]:
    """The currency, and what one of it costs in the co-op's own.

    Raises CurrencyUnknown, and Invalid where another currency has no rate or one's own has one.
    """
    with placed("/currency"):
        minor_units(currency or actor.currency)
    if (currency or actor.currency) == actor.currency:
        if rate not in (None, 1):
            raise Invalid(
                Sentence(
                    "{own_currency} is the co-op's own and has no rate.",
                    own_currency=actor.currency,
                ),
                pointer="/rate",
            )
        return actor.currency, Decimal(1)
    if rate is None:
        raise Invalid(
            Sentence(
                "Give the rate of the day: how many {own_currency} one {currency} costs.",
                own_currency=actor.currency,
                currency=currency,
            ),
            pointer="/rate",
        )
    return currency, rate


def keep(
    actor: Actor, offers: Sequence[Offer], priced: Sequence[Priced], *, told: Told = silent
) -> None:
    """Write offers and prices, each kind at once, and have them looked over for jumps.

    Of thousands, a thousand at once; how many prices are written is `told` in between.
    """
    done = 0
    with explained():
        Offer.objects.bulk_create(offers, batch_size=AT_ONCE)
        for part in parts_of(priced, AT_ONCE):
            OfferPrice.objects.bulk_create(one.price for one in part)
            OfferBreak.objects.bulk_create(step for one in part for step in one.breaks)
            done += len(part)
            told(done)
    if priced:
        owe_review(actor)


def _measure(place: int, facts: BreakFacts, offer: Offer) -> Measured:
    density = None
    if offer.density is not None:
        density = Density(offer.density, offer.density_at, offer.density_entered)
    with placed(f"/{place}/at_least"):
        return measure(facts.at_least, offer.material, density)


def _of(actor: Actor, owner: UUID | None) -> dict[str, UUID | int | None]:
    return {"coop_id": actor.coop_id, "maker_id": owner, "person_id": actor.person_id}
