"""Goods at shops that sell them for the maker."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, cursor_at, links, page_of, start_of
from api.rest import examples
from api.rest.deviation_shapes import DeviationIn
from api.rest.fields import Id, Shown, Text, plain
from api.rest.issues import Lines, MovedOut, moved_json, taken
from api.rest.lots import STATUSES
from api.rest.stock import amount
from ledger import consigning
from ledger.access import Actor
from ledger.money import round_money
from ledger.quantities import kept_in
from ledger.roles import Verb


class ConsignmentIn(Lines):
    shop = Text(max_length=120, help_text="Your own reference of the shop.")
    reason = Text(max_length=400, required=False)


class ConsignedSaleIn(Lines):
    shop = Text(max_length=120)
    customer = Text(
        max_length=120, required=False, help_text="Left out, the shop is the direct account."
    )
    deviation = DeviationIn(required=False, allow_null=True)


class ConsignedReturnIn(Lines):
    shop = Text(max_length=120)
    reason = Text(max_length=400)


class ConsignedOut(serializers.Serializer[Any]):
    shop = Text()
    lot = Id()
    code = Text()
    name = Text()
    status = serializers.ChoiceField(STATUSES)
    expires_on = serializers.DateField(allow_null=True)
    use_by = serializers.DateField(allow_null=True, help_text="Since it is open.")
    unit = serializers.ChoiceField(["g", "each"])
    quantity = Shown()
    value = Shown(allow_null=True)


def consigned_json(row: consigning.Consigned, actor: Actor) -> dict[str, Any]:
    shown = actor.may(Verb.SEE_COSTS)
    return {
        "shop": row.shop,
        "lot": str(row.lot_id),
        "code": row.code,
        "name": row.material_name,
        "status": row.status,
        "expires_on": row.expires_on,
        "use_by": row.use_by,
        "unit": kept_in(row.counted),
        "quantity": amount(row.quantity, row.counted),
        "value": plain(round_money(row.value, actor.currency)) if shown else None,
    }


class Consignments(Resource):
    """What lies at shops."""

    @reads(Paged, page_of(ConsignedOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List what lies at which shop, in order of the shop."""
        start, limit = start_of(self.request, query), query["limit"]
        rows = consigning.consigned(
            actor, after=(start[0], start[1]) if start else None, limit=limit + 1
        )
        last = rows[limit - 1] if len(rows) > limit else None
        cursor = last and cursor_at(self.request, [last.shop, str(last.lot_id)])
        results = [consigned_json(row, actor) for row in rows[:limit]]
        return Sent({"results": results, "next": cursor}, headers=links(self.request, cursor))

    @writes(ConsignmentIn, MovedOut, examples=examples.CONSIGNMENT)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Send goods to a shop; they stay yours until it sells them."""
        moved = consigning.consign(
            actor,
            shop=data["shop"],
            lines=taken(data),
            happened_at=data.get("happened_at", self.now),
            reason=data.get("reason", ""),
        )
        return moved_json(moved, actor)


class ConsignedSales(Resource):
    """What shops have sold."""

    @writes(ConsignedSaleIn, MovedOut)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Book what a shop has sold of what lay there."""
        deviation = data.get("deviation")
        moved = consigning.sell_consigned(
            actor,
            shop=data["shop"],
            lines=taken(data),
            happened_at=data.get("happened_at", self.now),
            customer=data.get("customer", ""),
            deviation=deviation["reason"] if deviation else "",
        )
        return moved_json(moved, actor)


class ConsignedReturns(Resource):
    """What comes back from shops."""

    @writes(ConsignedReturnIn, MovedOut)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Take goods back from a shop into your store."""
        moved = consigning.bring_back(
            actor,
            shop=data["shop"],
            lines=taken(data),
            reason=data["reason"],
            happened_at=data.get("happened_at", self.now),
        )
        return moved_json(moved, actor)
