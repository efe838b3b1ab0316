"""What there is, and the reorder points that are watched."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from api import etags
from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, cursor_at, links, page, page_of, start_of
from api.rest import examples
from api.rest.fields import Body, Id, QuantityField, Shown, Text, Whole, plain
from ledger import alerts, balances
from ledger.access import Actor
from ledger.errors import NotFound
from ledger.models import Watch
from ledger.money import round_money
from ledger.quantities import kept_in


class StockRow(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    unit = serializers.ChoiceField(["g", "each"])
    on_hand = Shown()
    usable = Shown(help_text="Released, in date today, not on hold.")
    reserved = Shown(help_text="Promised to planned batches.")
    available = Shown(help_text="Usable less reserved.")
    on_order = Shown()
    position = Shown(help_text="Usable + on order - all that planned batches need.")
    value = Shown(allow_null=True)
    reorder_point = Shown(allow_null=True)
    low = serializers.BooleanField(help_text="The position is at or below the reorder point.")


class StockQuery(Paged):
    material = serializers.UUIDField(required=False)


class WatchIn(Body):
    reorder_point = QuantityField()
    safety_stock = QuantityField(
        required=False,
        allow_null=True,
        help_text="The part of the point that is to be there still when an order comes; what is"
        " needed is netted above it.",
    )
    lead_days = Whole(
        required=False,
        allow_null=True,
        min_value=0,
        max_value=1000,
        help_text="From an order until what came of it may be used.",
    )


class WatchOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    reorder_point = Shown(help_text="g, or count for what is counted")
    entered = Text()
    safety_stock = Shown(allow_null=True)
    lead_days = serializers.IntegerField(allow_null=True)
    version = serializers.IntegerField()


def stock_json(row: balances.Stock, currency: str) -> dict[str, Any]:
    figures = {
        name: amount(getattr(row, name), row.counted)
        for name in ("on_hand", "usable", "reserved", "available", "on_order", "position")
    }
    return {
        "material": str(row.material_id),
        "name": row.name,
        "unit": kept_in(row.counted),
        **figures,
        "value": None if row.value is None else plain(round_money(row.value, currency)),
        "reorder_point": amount(row.reorder_point, row.counted),
        "low": row.low,
    }


def amount(quantity: Any, counted: bool) -> str | None:
    """Grams with their decimals, or whole pieces."""
    if quantity is None:
        return None
    return plain(quantity.quantize(1) if counted else quantity)


def watch_json(row: Watch) -> dict[str, Any]:
    return {
        "material": str(row.material_id),
        "name": row.material.name,
        "reorder_point": amount(row.reorder_point, row.material.counted),
        "entered": row.entered,
        "safety_stock": amount(row.safety_stock, row.material.counted),
        "lead_days": row.lead_days,
        "version": row.version,
    }


class Stock(Resource):
    """The maker's stock."""

    @reads(StockQuery, page_of(StockRow))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List stock by material, in order of its name."""
        start, limit = start_of(self.request, query), query["limit"]
        rows = balances.stock(
            actor,
            now=self.now,
            materials=[query["material"]] if "material" in query else None,
            after=(start[0], UUID(start[1])) if start else None,
            limit=limit + 1,
        )
        last = rows[limit - 1] if len(rows) > limit else None
        cursor = last and cursor_at(self.request, [last.name, str(last.material_id)])
        results = [stock_json(row, actor.currency) for row in rows[:limit]]
        return Sent({"results": results, "next": cursor}, headers=links(self.request, cursor))


class Watches(Resource):
    """The reorder points that are watched."""

    @reads(Paged, page_of(WatchOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List watches, newest first."""
        return page(self.request, query, alerts.watches(actor), watch_json)


class OneWatch(Resource):
    """The watch over one material."""

    @reads(None, WatchOut)
    def get(self, actor: Actor, material: str) -> Sent:
        """Show the watch over a material."""
        return _watch(alerts.watch_for(actor, material))

    @writes(WatchIn, WatchOut, status=200, keyed=False, matches=True, examples=examples.WATCH)
    def put(self, actor: Actor, data: dict[str, Any], material: str) -> Sent:
        """Warn when the position of a material is at or below a reorder point."""
        version = self._version_read(actor, material)
        return _watch(alerts.set_watch(actor, material=material, **data, version=version))

    @writes(None, None, status=204, keyed=False, matches=True)
    def delete(self, actor: Actor, material: str) -> None:
        """Stop watching a material."""
        version = self._version_read(actor, material)
        alerts.drop_watch(actor, material=material, now=self.now, version=version)

    def _version_read(self, actor: Actor, material: str) -> int | None:
        """The version that If-Match names, where it is sent; an ETag is of one very watch.

        Without a watch none can have been read, so the answer is one that no watch has.
        """
        if not self.request.headers.get("If-Match"):
            return None
        try:
            watch = alerts.watch_for(actor, material)
        except NotFound:
            return 0
        return etags.expected_version(self.request, watch.id)


def _watch(row: Watch) -> Sent:
    return Sent(watch_json(row), headers={"ETag": etags.etag(row.id, row.version)})
