"""Offers of suppliers: packs, what they cost from which day, and the terms of a whole order."""

from datetime import date
from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.catalogue import DensityOut, density_json
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    DensityIn,
    Flag,
    Id,
    Moment,
    QuantityField,
    Shown,
    Text,
    Whole,
    listed,
    plain,
    shortest,
)
from api.rest.receipts import QuantityOut, UnitCost, quantity_json
from ledger import offer_reading, offering
from ledger.access import Actor, day_of
from ledger.models import Offer, OfferPrice, SupplierTerms
from ledger.models.offers import MOST_DAYS
from ledger.offer_prices import FreightKind, unit_price
from ledger.quantities import priced_per

FREIGHTS = [kind.value for kind in FreightKind]
MOST_BREAKS = 20
OPEN = "Whether all makers of the co-op see it; a coordinator writes for all."
RATE = "Of the day: how much of the co-op's currency one of this costs. Needed for another one."


class PriceBreakIn(Body):
    at_least = QuantityField(help_text="In one order, such as 50 kg.")
    price = DecimalText(above="0", help_text="Of one pack, for every pack of the order.")

    def to_internal_value(self, data: Any) -> offering.BreakFacts:
        return offering.BreakFacts(**super().to_internal_value(data))


class OfferPriceIn(Body):
    valid_from = serializers.DateField()
    price = DecimalText(above="0", help_text="Of one pack.")
    currency = Text(max_length=3, required=False, help_text="The co-op's if left out.")
    rate = DecimalText(above="0", most="999999999", places=9, required=False, help_text=RATE)
    breaks = listed(
        PriceBreakIn, most=MOST_BREAKS, required=False, help_text="Rising, for all units."
    )
    least_packs = Whole(min_value=1, max_value=1_000_000, required=False)
    lead_time_days = Whole(min_value=0, max_value=MOST_DAYS, required=False, allow_null=True)
    shelf_life_days = Whole(
        min_value=1,
        max_value=MOST_DAYS,
        required=False,
        allow_null=True,
        help_text="That the goods keep at least, when they come.",
    )
    note = Text(max_length=400, required=False, allow_blank=True)


class SupplierOfferIn(OfferPriceIn):
    supplier = Id()
    material = Id()
    pack = QuantityField(help_text="As it is sold, such as 25 kg, 1 gal or 60 each.")
    density = DensityIn(required=False, help_text="The supplier's, before the material's.")
    article_code = Text(max_length=80, required=False, allow_blank=True)
    open = Flag(required=False, help_text=OPEN)


class OfferEndIn(Body):
    valid_from = serializers.DateField(help_text="The first day on which it is not offered.")
    note = Text(max_length=400, required=False, allow_blank=True)


class SupplierTermsIn(Body):
    valid_from = serializers.DateField()
    currency = Text(max_length=3, required=False, help_text="The co-op's if left out.")
    rate = DecimalText(above="0", most="999999999", places=9, required=False, help_text=RATE)
    minimum = DecimalText(
        least="0", required=False, allow_null=True, help_text="Goods that an order must come to."
    )
    freight_kind = Choice(FREIGHTS)
    freight = DecimalText(
        least="0", required=False, allow_null=True, help_text="Of an order, or of its kilogram."
    )
    free_from = DecimalText(
        least="0", required=False, allow_null=True, help_text="Goods that travel free."
    )
    lead_time_days = Whole(min_value=0, max_value=MOST_DAYS, required=False, allow_null=True)
    note = Text(max_length=400, required=False, allow_blank=True)
    open = Flag(required=False, help_text=OPEN)


class PriceBreakOut(serializers.Serializer[Any]):
    at_least = QuantityOut()
    price = Shown()
    own_price = Shown(help_text="In the co-op's currency.")
    unit_price = UnitCost(help_text="In the co-op's currency.")


class OfferPriceOut(serializers.Serializer[Any]):
    id = Id()
    valid_from = serializers.DateField()
    offered = serializers.BooleanField(help_text="False: not any more from that day.")
    price = Shown(allow_null=True, help_text="Of one pack.")
    currency = Text(allow_blank=True)
    rate = Shown(allow_null=True)
    own_price = Shown(allow_null=True, help_text="In the co-op's currency.")
    unit_price = UnitCost(allow_null=True, help_text="In the co-op's currency.")
    breaks = PriceBreakOut(many=True)
    least_packs = serializers.IntegerField()
    lead_time_days = serializers.IntegerField(allow_null=True)
    shelf_life_days = serializers.IntegerField(allow_null=True)
    note = Text(allow_blank=True)
    recorded_at = Moment()


class SupplierOfferOut(serializers.Serializer[Any]):
    id = Id()
    open = serializers.BooleanField()
    supplier = Id()
    supplier_name = Text()
    material = Id()
    material_name = Text()
    article_code = Text(allow_blank=True)
    pack = QuantityOut()
    density = DensityOut(allow_null=True)
    density_of = Text(allow_blank=True, help_text="offer or material")
    offered = serializers.BooleanField(help_text="On the day that was asked for.")
    current = OfferPriceOut(allow_null=True, help_text="Null before the first price.")
    created_at = Moment()


class SupplierTermsOut(serializers.Serializer[Any]):
    id = Id()
    open = serializers.BooleanField()
    supplier = Id()
    valid_from = serializers.DateField()
    currency = Text()
    rate = Shown()
    minimum = Shown(allow_null=True)
    own_minimum = Shown(allow_null=True, help_text="In the co-op's currency.")
    freight_kind = serializers.ChoiceField(FREIGHTS)
    freight = Shown(allow_null=True)
    own_freight = Shown(allow_null=True)
    free_from = Shown(allow_null=True)
    own_free_from = Shown(allow_null=True)
    lead_time_days = serializers.IntegerField(allow_null=True)
    note = Text(allow_blank=True)
    recorded_at = Moment()


class OfferQuery(Paged):
    material = serializers.UUIDField(required=False)
    supplier = serializers.UUIDField(required=False)
    article_code = Text(max_length=80, required=False)
    on = serializers.DateField(required=False, help_text="Whose prices are shown; today.")


def price_json(row: OfferPrice, offer: Offer) -> dict[str, Any]:
    """A price; `offer` is its own, with its material."""
    counted = offer.material.counted
    return {
        "id": str(row.id),
        "valid_from": row.valid_from,
        "offered": row.price is not None,
        "price": shortest(row.price),
        "currency": row.currency,
        "rate": shortest(row.rate),
        "own_price": shortest(row.own_price),
        "unit_price": None if row.own_price is None else _unit_price(row.own_price, offer),
        "breaks": [
            {
                "at_least": quantity_json(one.entered, one.quantity, counted),
                "price": shortest(one.price),
                "own_price": shortest(one.own_price),
                "unit_price": _unit_price(one.own_price, offer),
            }
            for one in offer_reading.breaks_of(row)
        ],
        "least_packs": row.least_packs,
        "lead_time_days": row.lead_time_days,
        "shelf_life_days": row.shelf_life_days,
        "note": row.note,
        "recorded_at": row.recorded_at,
    }


def _unit_price(price: Any, offer: Offer) -> dict[str, Any]:
    counted = offer.material.counted
    amount = unit_price(price, offer.quantity, counted=counted)
    return {"amount": plain(amount), "per": priced_per(counted)}


def offer_json(row: Offer) -> dict[str, Any]:
    price = offer_reading.in_force(row)
    return {
        "id": str(row.id),
        "open": row.maker_id is None,
        "supplier": str(row.supplier_id),
        "supplier_name": row.supplier.name,
        "material": str(row.material_id),
        "material_name": row.material.name,
        "article_code": row.article_code,
        "pack": quantity_json(row.entered, row.quantity, row.material.counted),
        "density": density_json(row),
        "density_of": row.density_of,
        "offered": price is not None and price.price is not None,
        "current": None if price is None else price_json(price, row),
        "created_at": row.created_at,
    }


def terms_json(row: SupplierTerms) -> dict[str, Any]:
    amounts = ("minimum", "own_minimum", "freight", "own_freight", "free_from", "own_free_from")
    return {
        "id": str(row.id),
        "open": row.maker_id is None,
        "supplier": str(row.supplier_id),
        "valid_from": row.valid_from,
        "currency": row.currency,
        "rate": shortest(row.rate),
        **{name: shortest(getattr(row, name)) for name in amounts},
        "freight_kind": row.freight_kind,
        "lead_time_days": row.lead_time_days,
        "note": row.note,
        "recorded_at": row.recorded_at,
    }


class _Offering(Resource):
    """What offers share: the day whose prices are shown."""

    def day(self, actor: Actor, query: dict[str, Any]) -> date:
        day: date = query.get("on") or day_of(actor, self.now)
        return day


class Offers(_Offering):
    """What suppliers offer: the co-op's offers, and the maker's own."""

    @reads(OfferQuery, page_of(SupplierOfferOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List offers with the price of a day, newest first."""
        rows = offer_reading.offers(actor, on=self.day(actor, query))
        asked = {
            "material": "material_id",
            "supplier": "supplier_id",
            "article_code": "article_code",
        }
        rows = rows.filter(**{column: query[one] for one, column in asked.items() if one in query})
        return page(self.request, query, rows, offer_json)

    @writes(SupplierOfferIn, SupplierOfferOut, examples=examples.OFFER)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Write a supplier's pack and its price, for oneself or opened to the co-op."""
        about = {name: data.pop(name) for name in ("supplier", "material", "pack")}
        about |= {name: data.pop(name) for name in ("density", "article_code") if name in data}
        opened = data.pop("open", None)
        price = offering.PriceFacts(**data)
        return offer_json(offering.add_offer(actor, **about, price=price, opened=opened))


class OfferDayQuery(Body):
    on = serializers.DateField(required=False, help_text="Whose price is shown; today.")


class OneOffer(_Offering):
    """One offer."""

    @reads(OfferDayQuery, SupplierOfferOut)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> dict[str, Any]:
        """Show an offer with the price of a day."""
        return offer_json(offer_reading.offer_for(actor, id, on=self.day(actor, query)))


class OfferPrices(_Offering):
    """The prices of an offer."""

    @reads(Paged, page_of(OfferPriceOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List all prices of an offer, the last written first; none is ever overwritten."""
        rows = offer_reading.prices_of(actor, id, on=self.day(actor, query))
        return page(self.request, query, rows, lambda row: price_json(row, row.offer))

    @writes(OfferPriceIn, SupplierOfferOut, examples=examples.OFFER_PRICE)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Say what a pack costs from a day on; a later row for the same day corrects it."""
        price = offering.PriceFacts(**data)
        return offer_json(offering.reprice(actor, offer=id, price=price))


class OfferEnds(Resource):
    """The end of an offer."""

    @writes(OfferEndIn, SupplierOfferOut, examples=examples.OFFER_END)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Say from which day on a pack is not offered; a later price takes it up again."""
        return offer_json(offering.withdraw_offer(actor, offer=id, **data))


class SuppliersTerms(Resource):
    """What holds for a whole order to a supplier."""

    @reads(Paged, page_of(SupplierTermsOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List all terms of a supplier, the last written first."""
        return page(self.request, query, offer_reading.terms_of(actor, id), terms_json)

    @writes(SupplierTermsIn, SupplierTermsOut, examples=examples.SUPPLIER_TERMS)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Say from a day on what an order must come to, what freight costs, how long it takes."""
        opened = data.pop("open", None)
        terms = offering.TermsFacts(**data)
        return terms_json(
            offering.set_supplier_terms(actor, supplier=id, terms=terms, opened=opened)
        )
