"""What suppliers offer on a day, as those who plan orders need it, and how prices came to be.

Whoever reads sees the co-op's offers and its maker's own.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import F, Prefetch, Q, QuerySet

from ledger.access import Actor, find, supplier_for
from ledger.lead_time_reading import lead_times
from ledger.lead_times import Measured, days_to_plan_by
from ledger.models import Offer, OfferBreak, OfferPrice, SupplierTerms
from ledger.offer_prices import Freight, FreightKind, PackBreak
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class TermsOn:
    """What holds for a whole order, in the co-op's currency: goods it must come to, freight."""

    minimum: Decimal | None
    freight: Freight
    lead_time_days: int | None


@dataclass(frozen=True, slots=True)
class OfferOn:
    """A pack that can be bought on a day: grams or pieces, and the co-op's currency for one pack.

    `breaks` rise; from each quantity on every pack of the order costs its price.
    """

    offer: UUID
    supplier: UUID
    supplier_name: str
    material: UUID
    article_code: str
    counted: bool
    entered: str
    pack: Decimal
    price: Decimal
    breaks: tuple[PackBreak, ...]
    least_packs: int
    lead_time_days: int | None
    measured: Measured | None
    shelf_life_days: int | None
    terms: TermsOn


NO_TERMS = TermsOn(None, Freight(FreightKind.NONE), None)


def offers_on(
    actor: Actor,
    *,
    day: date,
    materials: Collection[UUID | str] | None = None,
    measured: bool = True,
) -> list[OfferOn]:
    """What can be bought on a day of these materials (or of all), the oldest offers first.

    A lead time is what deliveries show (`measured`) where there are enough of them, else what the
    price states, else the supplier; `measured` false asks no deliveries. A fixed number of queries,
    however many offers there are. Raises Forbidden.
    """
    seen = _visible(actor, Offer.objects.all())
    if materials is not None:
        seen = seen.filter(material_id__in=materials)
    rows = _latest(day).filter(offer__in=seen).select_related("offer__supplier", "offer__material")
    terms = terms_on(actor, day=day)
    times = lead_times(actor, day=day) if measured else {}
    found: list[OfferOn] = []
    for price in with_breaks(rows):
        if price.own_price is None:
            continue
        row = price.offer
        of_order = terms.get(row.supplier_id, NO_TERMS)
        shown = times.get((row.supplier_id, row.material_id))
        found.append(
            OfferOn(
                offer=row.id,
                supplier=row.supplier_id,
                supplier_name=row.supplier.name,
                material=row.material_id,
                article_code=row.article_code,
                counted=row.material.counted,
                entered=row.entered,
                pack=row.quantity,
                price=price.own_price,
                breaks=tuple(PackBreak(b.quantity, b.own_price) for b in breaks_of(price)),
                least_packs=price.least_packs,
                lead_time_days=days_to_plan_by(
                    shown, price.lead_time_days, of_order.lead_time_days
                ),
                measured=shown,
                shelf_life_days=price.shelf_life_days,
                terms=of_order,
            )
        )
    return found


def terms_on(actor: Actor, *, day: date) -> dict[UUID, TermsOn]:
    """By supplier, the terms of a whole order on a day; a maker's own go before the co-op's.

    Raises Forbidden.
    """
    return {
        row.supplier_id: TermsOn(
            row.own_minimum,
            Freight(
                FreightKind(row.freight_kind), row.own_freight or Decimal(0), row.own_free_from
            ),
            row.lead_time_days,
        )
        for row in _terms_in_force(actor, day)
    }


def terms_in_force(actor: Actor, supplier: UUID | str, *, day: date) -> SupplierTerms | None:
    """The terms of a supplier that hold on a day, as they were written. Raises Forbidden."""
    return _terms_in_force(actor, day).filter(supplier_id=supplier).first()


def offers(actor: Actor, *, on: date) -> "QuerySet[Offer]":
    """The offers that the actor sees, each with the price that holds on a day (`in_force`).

    Raises Forbidden.
    """
    prices = Prefetch("prices", with_breaks(_latest(on)), to_attr="of_the_day")
    rows = _visible(actor, Offer.objects.all()).select_related("supplier", "material")
    return rows.prefetch_related(prices)


def offer_for(actor: Actor, id: UUID | str, *, on: date) -> Offer:
    """One offer with the price that holds on a day. Raises NotFound and Forbidden."""
    return find(offers(actor, on=on), id)


def prices_of(actor: Actor, offer: UUID | str, *, on: date) -> "QuerySet[OfferPrice]":
    """All prices of an offer as they were written, with its pack. Raises NotFound, Forbidden."""
    found = offer_for(actor, offer, on=on)
    rows = OfferPrice.objects.filter(coop_id=actor.coop_id, offer_id=found.id)
    return with_breaks(rows.select_related("offer__material"))


def terms_of(actor: Actor, supplier: UUID | str) -> "QuerySet[SupplierTerms]":
    """All terms of a supplier as they were written. Raises NotFound, Forbidden."""
    return terms_visible_to(actor).filter(supplier=supplier_for(actor, supplier))


def terms_visible_to(actor: Actor) -> "QuerySet[SupplierTerms]":
    """The co-op's terms and the maker's own. Raises Forbidden."""
    return _visible(actor, SupplierTerms.objects.all())


def in_force(offer: Offer) -> OfferPrice | None:
    """The price that holds on the day that `offers` was asked for; None before the first.

    A price without an amount says that the pack is not offered any more.
    """
    held: list[OfferPrice] = offer.of_the_day  # type: ignore[attr-defined]
    return held[0] if held else None


def breaks_of(price: OfferPrice) -> list[OfferBreak]:
    """The breaks of a price that was read with them, rising."""
    return sorted(price.breaks.all(), key=lambda one: one.position)


def _latest(on: date) -> "QuerySet[OfferPrice]":
    """The price of each offer that holds on a day, the oldest offers first."""
    rows = OfferPrice.objects.filter(valid_from__lte=on)
    return rows.order_by("offer_id", "-valid_from", "-id").distinct("offer_id")


def with_breaks(prices: "QuerySet[OfferPrice]") -> "QuerySet[OfferPrice]":
    return prices.prefetch_related("breaks")


def _terms_in_force(actor: Actor, day: date) -> "QuerySet[SupplierTerms]":
    """Of each supplier the terms that hold on a day; a maker's own go before the co-op's."""
    order = ("supplier_id", F("maker_id").asc(nulls_last=True), "-valid_from", "-id")
    rows = terms_visible_to(actor).filter(valid_from__lte=day)
    return rows.order_by(*order).distinct("supplier_id")


def _visible(actor: Actor, rows: "QuerySet[Any]") -> "QuerySet[Any]":
    actor.must(Verb.SEE_OFFERS)
    own = Q(maker__isnull=True) | Q(maker_id=actor.maker_id)
    return rows.filter(own, coop_id=actor.coop_id)
