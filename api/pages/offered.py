"""What a supplier offers, as pages show it, and its tables as files."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db.models.functions import Lower
from django.utils.translation import gettext as said

from api.pages.offer_forms import FREIGHTS
from api.pages.tables import Cell, Table, unit_of
from ledger import offer_reading
from ledger.access import Actor
from ledger.lead_time_reading import SupplierLead
from ledger.lead_times import Measured
from ledger.models import Offer, OfferBreak, OfferPrice, SupplierTerms
from ledger.offer_prices import unit_price
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class Step:
    """From so much on, a pack costs this, and a kilogram or a piece of it that."""

    row: OfferBreak
    each: Decimal


@dataclass(frozen=True, slots=True)
class Priced:
    """A price of a pack, its breaks, and what a kilogram or a piece costs by it.

    `each` is None from when it is not offered any more.
    """

    row: OfferPrice
    each: Decimal | None
    steps: Sequence[Step]
    abroad: bool

    @property
    def offered(self) -> bool:
        return self.row.price is not None


@dataclass(frozen=True, slots=True)
class Offered:
    """A pack, and the price that holds on a day; None before the first."""

    offer: Offer
    price: Priced | None

    @property
    def now(self) -> bool:
        """Whether it can be had on that day."""
        return self.price is not None and self.price.offered


def priced(actor: Actor, row: OfferPrice, offer: Offer) -> Priced:
    """A price with what a kilogram or a piece costs by it; `offer` is its own."""

    def each(price: Decimal) -> Decimal:
        return unit_price(price, offer.quantity, counted=offer.material.counted)

    steps = [Step(one, each(one.own_price)) for one in offer_reading.breaks_of(row)]
    known = None if row.own_price is None else each(row.own_price)
    return Priced(row, known, steps, row.currency not in ("", actor.currency))


def offered(actor: Actor, offer: Offer) -> Offered:
    """An offer that was read with its price of a day."""
    price = offer_reading.in_force(offer)
    return Offered(offer, None if price is None else priced(actor, price, offer))


def offers_of(actor: Actor, supplier: UUID, day: date, *, limit: int) -> list[Offered]:
    """What a supplier offers, by the names of the materials; nothing for who may not see it."""
    if not actor.may(Verb.SEE_OFFERS):
        return []
    rows = offer_reading.offers(actor, on=day).filter(supplier_id=supplier)
    found = rows.order_by(Lower("material__name"), "quantity", "id")[:limit]
    return [offered(actor, one) for one in found]


def offers_table(found: Iterable[Offered], currency: str) -> Table:
    """What a supplier offers, with the prices of a day."""
    columns = [said("Material"), said("Article"), said("Pack"), said("Holds"), said("Unit")]
    columns += [f"{said('A pack costs')}, {currency}"]
    columns += [f"{said('A kilogram, or a piece')}, {currency}", said("Packs at least")]
    cells = (
        (
            *(one.offer.material.name, one.offer.article_code, one.offer.entered),
            *(one.offer.quantity, unit_of(one.offer.material.counted)),
            *(
                (one.price.row.own_price, one.price.each, one.price.row.least_packs)
                if one.price
                else (None, None, None)
            ),
        )
        for one in found
    )
    return Table("offers", columns, cells)


def breaks_table(price: Priced, currency: str) -> Table:
    """The breaks of a price."""
    columns = [said("From"), f"{said('A pack costs')}, {currency}"]
    columns += [f"{said('A kilogram, or a piece')}, {currency}"]
    cells = [(one.row.entered, one.row.own_price, one.each) for one in price.steps]
    return Table("breaks", columns, cells)


def prices_table(found: Iterable[Priced], currency: str) -> Table:
    """All prices of an offer, the last written first, each break on a line of its own."""
    columns = [said("From"), said("In one order"), said("A pack costs"), said("Currency")]
    columns += [said("Rate"), f"{said('A pack costs')}, {currency}"]
    columns += [f"{said('A kilogram, or a piece')}, {currency}", said("Note")]
    cells: list[tuple[Cell, ...]] = []
    for one in found:
        row = one.row
        cells.append(
            (
                *(row.valid_from, "", row.price, row.currency, row.rate, row.own_price),
                *(one.each, row.note if one.offered else f"{said('not any more')}: {row.note}"),
            )
        )
        for step in one.steps:
            of = step.row
            cells.append(
                (
                    *(row.valid_from, of.entered, of.price, row.currency, row.rate),
                    *(of.own_price, step.each, ""),
                )
            )
    return Table("prices", columns, cells)


def terms_table(rows: Iterable[SupplierTerms], currency: str) -> Table:
    """All terms of a supplier, the last written first."""
    columns = [said("From"), f"{said('An order comes to at least')}, {currency}", said("Freight")]
    columns += [f"{said('It is')}, {currency}", f"{said('Free from')}, {currency}"]
    columns += [said("Takes, as they say, in days"), said("Currency"), said("Rate"), said("Note")]
    cells = (
        (
            *(row.valid_from, row.own_minimum, str(FREIGHTS[row.freight_kind]), row.own_freight),
            *(row.own_free_from, row.lead_time_days, row.currency, row.rate, row.note),
        )
        for row in rows
    )
    return Table("terms", columns, cells)


def lead_table(lead: SupplierLead) -> Table:
    """How long a supplier took, by material and over all."""
    columns = [said("Material"), said("Deliveries"), said("Days on the mean")]
    columns += [said("Spread, days"), said("Shortest, days"), said("Longest, days")]
    rows = [(one.name, one.measured) for one in lead.materials]
    rows.append((said("In all"), lead.measured))
    return Table("lead-times", columns, [(name, *_days(measured)) for name, measured in rows])


def _days(found: Measured | None) -> tuple[Cell, ...]:
    if found is None:
        return (0, None, None, None, None)
    mean, spread = (round(one, 2) for one in (found.time.mean, found.time.spread))
    return (found.deliveries, mean, spread, found.shortest, found.longest)
