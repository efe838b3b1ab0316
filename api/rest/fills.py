"""Bulk filled into units."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, writes
from api.rest.batch_shapes import DeviationIn, SampleIn, samples_of
from api.rest.fields import Body, Id, Moment, QuantityField, Shown, listed, plain
from api.rest.receipts import LotBrief, QuantityOut, ReleaseIn
from formulas import filling
from ledger.access import Actor
from ledger.money import round_money
from ledger.roles import Verb


class FillIn(Body):
    product = Id()
    lot = Id(help_text="The bulk.")
    units = serializers.IntegerField(min_value=1, max_value=1_000_000)
    used = QuantityField(required=False, help_text="Of the bulk; the nominal fill if left out.")
    samples = listed(SampleIn, most=20, required=False)
    happened_at = Moment(required=False)
    release = ReleaseIn(required=False, allow_null=True)
    deviation = DeviationIn(required=False, allow_null=True)


class FillOut(serializers.Serializer[Any]):
    id = Id()
    entry = Id()
    lot = LotBrief()
    units = serializers.IntegerField()
    used = QuantityOut()
    nominal_grams = Shown(allow_null=True)
    total = Shown(allow_null=True)
    per_unit = Shown(allow_null=True)


class Fills(Resource):
    """Filling bulk into units, often on another day than it was made."""

    @writes(FillIn, FillOut)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Fill units of a product from a lot of bulk; the rest stays bulk."""
        release, deviation = data.get("release"), data.get("deviation")
        done = filling.fill(
            actor,
            product=data["product"],
            lot=data["lot"],
            units=data["units"],
            used=data.get("used"),
            samples=samples_of(data),
            happened_at=data.get("happened_at", self.now),
            release_basis=release and release["basis"],
            deviation=deviation["reason"] if deviation else "",
        )
        costs = actor.may(Verb.SEE_COSTS)
        row = done.filling
        return {
            "id": str(row.id),
            "entry": str(row.entry_id),
            "lot": {"id": str(done.lot.id), "code": done.lot.code, "status": done.status},
            "units": row.units,
            "used": {"entered": row.entered, "grams": plain(row.used_grams)},
            "nominal_grams": plain(done.nominal_grams),
            "total": plain(round_money(done.total, actor.currency)) if costs else None,
            "per_unit": plain(done.per_unit) if costs else None,
        }
