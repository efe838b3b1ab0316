"""Filled units emptied back into bulk."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, writes
from api.rest import examples
from api.rest.fields import Body, Id, Moment, QuantityField, Shown, Text, Whole, plain
from api.rest.receipts import LotBrief
from formulas import emptying
from ledger.access import Actor
from ledger.money import round_money
from ledger.roles import Verb


class EmptyingIn(Body):
    units = Whole(min_value=1, max_value=1_000_000)
    quantity = QuantityField(
        required=False, help_text="What came out; if left out, as much as was filled into them."
    )
    reason = Text(max_length=400)
    happened_at = Moment(required=False)


class EmptiedOut(serializers.Serializer[Any]):
    id = Id()
    entry = Id()
    units = serializers.IntegerField()
    grams = Shown()
    lot = LotBrief(help_text="The bulk.")
    value = Shown(allow_null=True, help_text="What the bulk carries.")
    expensed = Shown(allow_null=True, help_text="Packaging, work of filling, and what stayed in.")


class Emptyings(Resource):
    """Emptying units of a lot."""

    @writes(EmptyingIn, EmptiedOut, examples=examples.EMPTYING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Empty filled units into a new lot of bulk; their packaging is lost."""
        done = emptying.empty(actor, lot=id, **{"happened_at": self.now, **data})
        row, costs = done.emptying, actor.may(Verb.SEE_COSTS)
        return {
            "id": str(row.id),
            "entry": str(row.entry_id),
            "units": row.units,
            "grams": plain(row.grams),
            "lot": {"id": str(done.lot.id), "code": done.lot.code, "status": done.status},
            "value": plain(round_money(row.bulk, actor.currency)) if costs else None,
            "expensed": plain(round_money(row.expensed, actor.currency)) if costs else None,
        }
