"""Bulk filled into units."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest.batch_shapes import SampleIn, samples_of
from api.rest.caution_shapes import StepCautionOut, cautions_json
from api.rest.deviation_shapes import DeviationIn, Overrode
from api.rest.fields import (
    Body,
    DensityIn,
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
from api.rest.receipts import LotBrief, QuantityOut, ReleaseIn, quantity_json
from formulas import filling
from formulas.access import batch_for, fills_of
from formulas.caution_facts import of_fill
from formulas.fill_reading import batch_of_fill
from formulas.leftovers import Leftover
from formulas.models import Filling
from ledger.access import Actor, find
from ledger.costing import unit_cost
from ledger.money import round_money
from ledger.roles import Verb


class LeftoverIn(Body):
    quantity = QuantityField()
    reason = Text(max_length=400)


class FillIn(Body):
    product = Id()
    lot = Id(help_text="The bulk.")
    units = Whole(min_value=1, max_value=1_000_000)
    used = QuantityField(
        required=False,
        help_text="All bulk that went in; if left out, what units, heel and rejects should hold.",
    )
    heel = LeftoverIn(
        required=False,
        allow_null=True,
        help_text="Left in the filler and thrown away: a normal loss that the units carry.",
    )
    rejects = listed(LeftoverIn, most=20, required=False)
    mean_net = QuantityField(required=False, help_text="What a unit holds on the average.")
    density = DensityIn(
        required=False,
        allow_null=True,
        help_text="Of the bulk as warm as it is filled (`at`), where it is another than the lot's."
        " It makes grams of volumes given here, and tells what room they take. Beyond 15 to 25 degC"
        " it is not what a label's volume weighs, which is judged at 20 degC.",
    )
    label_version = Text(
        max_length=60, required=False, allow_blank=True, help_text="Which label the units got."
    )
    samples = listed(SampleIn, most=20, required=False)
    happened_at = Moment(required=False)
    release = ReleaseIn(required=False, allow_null=True)
    deviation = DeviationIn(required=False, allow_null=True)


class RejectOut(serializers.Serializer[Any]):
    entered = Text()
    grams = Shown()
    reason = Text()
    units = serializers.IntegerField(required=False)


class ReconciliationOut(serializers.Serializer[Any]):
    """Bulk in = filled + samples + heel + rejects + unexplained, in grams."""

    bulk_in = Shown()
    filled = Shown(allow_null=True, help_text="Without the samples; null without a density.")
    samples = Shown(allow_null=True)
    heel = Shown()
    rejects = Shown()
    unexplained = Shown(allow_null=True, help_text="Below zero: more was filled than went in.")
    filled_by = serializers.ChoiceField(["weighed", "said", "nominal"])


class FillDensityOut(serializers.Serializer[Any]):
    """At which it was filled, where that was said."""

    value = Shown(help_text="g/mL")
    at = Shown(allow_null=True, help_text="degC")


class FillOut(serializers.Serializer[Any]):
    id = Id()
    entry = Id()
    product = Id()
    bulk = Id(help_text="The lot that it was filled from.")
    lot = LotBrief()
    units = serializers.IntegerField()
    used = QuantityOut()
    nominal_grams = Shown(
        allow_null=True,
        help_text="What the units should hold; by volume, null without a density at 20 degC.",
    )
    reconciliation = ReconciliationOut()
    density = FillDensityOut(allow_null=True)
    label_version = Text(allow_blank=True)
    heel_reason = Text(allow_blank=True)
    rejects = RejectOut(many=True, help_text="Expensed.")
    rejected = Shown(allow_null=True, help_text="What the rejects cost.")
    total = Shown(allow_null=True, help_text="Null for who may not see costs.")
    per_unit = Shown(allow_null=True)
    deviation = Text(allow_blank=True)
    overrode = Overrode(help_text="The rules that the deviation overrode.")
    state = serializers.ChoiceField(["filled", "reversed"])
    happened_at = Moment()
    person = Id()


class FillMade(FillOut):
    cautions = StepCautionOut(many=True)


class FillQuery(Paged):
    product = serializers.UUIDField(required=False)
    lot = serializers.UUIDField(required=False, help_text="The lot of units, or that of the bulk.")


def fill_json(actor: Actor, row: Filling, status: str, *, undone: bool = False) -> dict[str, Any]:
    costs, total = actor.may(Verb.SEE_COSTS), filling.total_of(row)
    return {
        "id": str(row.id),
        "entry": str(row.entry_id),
        "product": str(row.product_id),
        "bulk": str(row.bulk_lot_id),
        "lot": {"id": str(row.lot_id), "code": row.lot.code, "status": status},
        "units": row.units,
        "used": quantity_json(row.entered, row.used_grams, counted=False),
        "nominal_grams": plain(row.nominal_grams),
        "reconciliation": reconciliation_json(row),
        "density": None
        if row.density is None
        else {"value": plain(row.density.normalize()), "at": shortest(row.density_at)},
        "label_version": row.label_version,
        "heel_reason": row.heel_reason,
        "rejects": row.rejects,
        "rejected": plain(round_money(row.rejected, actor.currency)) if costs else None,
        "total": plain(round_money(total, actor.currency)) if costs else None,
        "per_unit": plain(unit_cost(total, Decimal(row.units))) if costs else None,
        "deviation": row.deviation,
        "overrode": row.overrode,
        "state": "reversed" if undone else "filled",
        "happened_at": row.happened_at,
        "person": str(row.person_id),
    }


def reconciliation_json(row: Filling) -> dict[str, Any]:
    """By the mean of the latest weighed units, where the fill was read with it."""
    weighed: Decimal | None = getattr(row, "weighed_grams", None)
    found = filling.reconciled(row, weighed)
    said = "nominal" if row.mean_grams is None else "said"
    return {
        "bulk_in": _rounded(found.bulk_in),
        "filled": _rounded(found.filled),
        "samples": _rounded(found.samples),
        "heel": _rounded(found.heel),
        "rejects": _rounded(found.rejects),
        "unexplained": _rounded(found.unexplained),
        "filled_by": said if weighed is None else "weighed",
    }


def _rounded(grams: Decimal | None) -> str | None:
    return None if grams is None else plain(grams.quantize(Decimal("0.000001")))


def leftovers_of(data: dict[str, Any]) -> list[Leftover]:
    return [Leftover(**one) for one in data.get("rejects", [])]


class Fills(Resource):
    """Filling bulk into units, often on another day than it was made."""

    @reads(FillQuery, page_of(FillOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List fills, newest first."""
        rows = fills_of(actor)
        if "product" in query:
            rows = rows.filter(product_id=query["product"])
        if "lot" in query:
            rows = rows.filter(lot_id=query["lot"]) | rows.filter(bulk_lot_id=query["lot"])
        return page(
            self.request,
            query,
            rows,
            lambda row: fill_json(actor, row, row.status, undone=row.undone),
        )

    @writes(FillIn, FillMade)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Fill units of a product from a lot of bulk; the rest stays bulk."""
        release, deviation = data.get("release"), data.get("deviation")
        heel = data.get("heel")
        done = filling.fill(
            actor,
            product=data["product"],
            lot=data["lot"],
            units=data["units"],
            used=data.get("used"),
            samples=samples_of(data),
            heel=Leftover(**heel) if heel else None,
            rejects=leftovers_of(data),
            each=data.get("mean_net"),
            density=data.get("density"),
            label_version=data.get("label_version", ""),
            happened_at=data.get("happened_at", self.now),
            release_basis=release and release["basis"],
            deviation=deviation["reason"] if deviation else "",
        )
        return {**fill_json(actor, done.filling, done.status), "cautions": _cautions(actor, done)}


def _cautions(actor: Actor, done: filling.Filled) -> list[dict[str, Any]]:
    row = done.filling
    made = batch_of_fill(actor, row)
    batch = None if made is None else batch_for(actor, made[0])
    return cautions_json(of_fill(batch, row.density_at, row.happened_at))


class OneFill(Resource):
    """One fill."""

    @reads(None, FillOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a fill, also one that was undone."""
        row: Any = find(fills_of(actor), id)
        return fill_json(actor, row, row.status, undone=row.undone)
