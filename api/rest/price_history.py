"""What a material was offered at and what it cost, and how long its suppliers take."""

from dataclasses import asdict
from typing import Any

from rest_framework import serializers

from api.operation import Resource, reads
from api.rest.fields import Body, Id, Shown, Text, plain, shortest
from ledger.access import Actor, day_of
from ledger.lead_time_reading import lead_time_of
from ledger.lead_times import Measured
from ledger.price_history import MOST, price_history
from ledger.quantities import priced_per

PriceHistoryQuery = type(
    "PriceHistoryQuery",
    (Body,),
    {
        # "from" is a word of the language, so it cannot be written as an attribute.
        "from": serializers.DateField(required=False, help_text="A year before the last day."),
        "to": serializers.DateField(required=False, help_text="Today."),
    },
)


class OfferedPriceOut(serializers.Serializer[Any]):
    on = serializers.DateField(help_text="From this day.")
    offer = Id()
    supplier = Id()
    supplier_name = Text()
    open = serializers.BooleanField()
    pack = Text()
    price = Shown(allow_null=True, help_text="Of a pack; null: not offered from this day on.")
    currency = Text(allow_blank=True)
    unit_price = Shown(allow_null=True)


class LandedPriceOut(serializers.Serializer[Any]):
    on = serializers.DateField()
    receipt = Id()
    lot = Id()
    lot_code = Text()
    supplier = Id()
    supplier_name = Text()
    goods = Shown()
    landed = Shown(help_text="With freight, duty, tax, and bills that came later.")


class PriceHistoryOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    per = serializers.ChoiceField(["kg", "each"], help_text="Of all unit prices.")
    offered = OfferedPriceOut(many=True, help_text="The latest first.")
    landed = LandedPriceOut(many=True, help_text="What the maker's lots cost, the latest first.")
    more = serializers.BooleanField(
        help_text=f"There are more than {MOST} of one in these days: ask for fewer days."
    )


class MeasuredLeadOut(serializers.Serializer[Any]):
    deliveries = serializers.IntegerField()
    mean_days = Shown()
    spread_days = Shown(help_text="The sample standard deviation.")
    shortest_days = serializers.IntegerField()
    longest_days = serializers.IntegerField()


class MaterialLeadOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    measured = MeasuredLeadOut()


class SupplierLeadOut(serializers.Serializer[Any]):
    supplier = Id()
    since = serializers.DateField()
    measured = MeasuredLeadOut(allow_null=True, help_text="Null before the first delivery.")
    materials = MaterialLeadOut(many=True)


def measured_json(found: Measured | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "deliveries": found.deliveries,
        "mean_days": shortest(round(found.time.mean, 2)),
        "spread_days": shortest(round(found.time.spread, 2)),
        "shortest_days": found.shortest,
        "longest_days": found.longest,
    }


def _plain(point: Any) -> dict[str, Any]:
    """A point of a series as it is sent: decimals and ids as texts."""
    told = asdict(point)
    if "opened" in told:
        told["open"] = told.pop("opened")
        told["price"], told["unit_price"] = shortest(point.price), plain(point.unit_price)
    else:
        told["goods"], told["landed"] = plain(point.goods), plain(point.landed)
    ids = {"offer", "supplier", "receipt", "lot"} & set(told)
    return told | {name: str(told[name]) for name in ids}


class MaterialPrices(Resource):
    """The prices of a material over time."""

    @reads(PriceHistoryQuery, PriceHistoryOut)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> dict[str, Any]:
        """What a material was offered at, and what it cost on the shelf, per kilogram or piece."""
        last = query.get("to") or day_of(actor, self.now)
        found = price_history(actor, material=id, first=query.get("from"), last=last)
        return {
            "material": str(found.material.id),
            "name": found.material.name,
            "per": priced_per(found.material.counted),
            "offered": [_plain(point) for point in found.offered],
            "landed": [_plain(point) for point in found.landed],
            "more": found.more,
        }


class SupplierLeads(Resource):
    """How long a supplier takes."""

    @reads(None, SupplierLeadOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """How many days passed from an order until it could be used, over all and by material."""
        found = lead_time_of(actor, id, day=day_of(actor, self.now))
        return {
            "supplier": str(found.supplier.id),
            "since": found.since,
            "measured": measured_json(found.measured),
            "materials": [
                {
                    "material": str(one.material),
                    "name": one.name,
                    "measured": measured_json(one.measured),
                }
                for one in found.materials
            ],
        }
