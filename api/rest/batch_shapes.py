"""How a batch is sent and shown."""

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from rest_framework import serializers

from api.paging import Paged
from api.rest.batch_lines import (
    BatchLineOut,
    BatchPackagingOut,
    TopUpBrief,
    lines_json,
    packaging_json,
    top_up_brief,
)
from api.rest.by_product_shapes import ByProductIn, ByProductOut, by_products_json
from api.rest.caution_shapes import StepCautionOut, cautions_json
from api.rest.deviation_shapes import DeviationIn, Overrode
from api.rest.effect_shapes import (
    EarlierLotOut,
    EffectOut,
    HeatOut,
    earlier_json,
    heat_json,
    measured_json,
    shown_of,
)
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
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
from api.rest.infusion_shapes import (
    MassBalanceOut,
    PlannedInfusionOut,
    SteepedOut,
    mass_balance_json,
    planned_infusion_json,
    steeped_json,
)
from api.rest.joint_shapes import JointIn, JointOut, joint_json
from api.rest.later_bills import LaterBillsOut, later_bills_json, no_bills_json
from api.rest.later_counts import LaterCountsOut, later_counts_json, no_counts_json
from api.rest.measurements import MeasurementOut, StandingOut, WindowOut, standing_json
from api.rest.receipts import LotBrief, QuantityOut, ReleaseIn, quantity_json
from formulas import finishing, weighing
from formulas.caution_facts import of_finish, of_plan, of_weighing
from formulas.costing import BatchCost, BatchYield, shown
from formulas.drawing import Sample
from formulas.measurements import standing_of, standing_rows, windows_of
from formulas.models import Batch, SecondLook, Weighing
from ledger.access import Actor
from ledger.lots import custody_of
from ledger.money import round_money
from ledger.roles import Verb

MORE_THAN_WENT_IN = (
    "More came out than was weighed in: see that every addition is recorded, and the output's unit."
)
# What a sample of what was made is for, beside being a plain one.
PURPOSES = ["retained", "tester", "quality", "gift"]
STATES = [state.value for state in Batch.State]


class BatchIn(Body):
    """A batch of units of a product, or of a formula by batch or output."""

    product = Id(required=False)
    units = Whole(min_value=1, max_value=1_000_000, required=False)
    formula = Id(required=False)
    batch = QuantityField(required=False, help_text="All that is weighed in.")
    output = QuantityField(required=False, help_text="What is to be left after the loss.")
    planned_for = serializers.DateField()


class WeighingOut(serializers.Serializer[Any]):
    id = Id()
    entry = Id()
    line = Id(allow_null=True)
    lot = Id()
    code = Text()
    material = Id()
    quantity = QuantityOut()
    deviation = Text(allow_blank=True)
    overrode = Overrode(help_text="The rules that the deviation overrode.")
    happened_at = Moment()
    person = Id()
    second_look = Id(allow_null=True, help_text="Who has looked at it a second time.")


class LossOut(serializers.Serializer[Any]):
    expected_grams = Shown()
    actual_grams = Shown()
    beyond_grams = Shown()


class CostOut(serializers.Serializer[Any]):
    materials = Shown()
    packaging = Shown()
    labour = Shown()
    overhead = Shown()
    inputs = Shown(help_text="All that went in.")
    by_products = Shown(help_text="What came out beside it, at net realisable value.")
    joint_products = Shown(help_text="What the batch's other products carry of the joint cost.")
    abnormal = Shown(help_text="The part that is expensed.")
    total = Shown(help_text="What the good output carries.")
    per_kg = Shown(help_text="(total - packaging) ÷ output")
    per_unit = Shown(allow_null=True)


class FinishedOut(StandingOut):
    cautions = StepCautionOut(many=True)
    id = Id()
    entry = Id()
    code = Text()
    state = serializers.ChoiceField(STATES)
    lot = LotBrief()
    expires_on = serializers.DateField(allow_null=True)
    dates_note = Text(allow_blank=True)
    output_grams = Shown()
    units = serializers.IntegerField(allow_null=True)
    labour_minutes = Shown(allow_null=True, help_text="As recorded; null: by the product's policy.")
    label_version = Text(allow_blank=True, help_text="Which label the units got.")
    yield_percent = Shown()
    plan_percent = Shown()
    loss = LossOut()
    by_products = ByProductOut(many=True)
    joint = JointOut(allow_null=True, help_text="Null for a batch of one product.")
    infusion = SteepedOut(allow_null=True)
    mass_balance = MassBalanceOut()
    note = Text(allow_blank=True, help_text="What to look at again, if anything.")
    cost = CostOut(allow_null=True, help_text="Null for who may not see costs.")


class BatchBrief(serializers.Serializer[Any]):
    id = Id()
    code = Text()
    state = serializers.ChoiceField(STATES)
    product = Id(allow_null=True)
    formula = Id()
    name = Text()
    version = serializers.IntegerField()
    units = serializers.IntegerField(allow_null=True)
    planned_for = serializers.DateField()
    batch_grams = Shown()
    output_grams = Shown()
    note = Text(allow_blank=True)
    created_at = Moment()


class BatchOut(BatchBrief):
    lines = BatchLineOut(many=True)
    packaging = BatchPackagingOut(many=True)
    infusion = PlannedInfusionOut(allow_null=True)
    weighings = WeighingOut(many=True)
    measurements = MeasurementOut(many=True, help_text="Without those that were corrected.")
    windows = WindowOut(many=True)
    standing = StandingOut()
    cautions = StepCautionOut(many=True, help_text="While it is planned.")
    top_ups = TopUpBrief(many=True)
    finished = FinishedOut(allow_null=True)
    later_bills = LaterBillsOut(
        allow_null=True, help_text="What came later; null for who may not see costs."
    )
    later_counts = LaterCountsOut(
        allow_null=True, help_text="What a count found later; null for who may not see costs."
    )
    working = serializers.DictField(required=False, help_text="With explain=1.")


class BatchQuery(Paged):
    state = Choice(STATES, required=False)
    product = serializers.UUIDField(required=False)
    formula = serializers.UUIDField(required=False)
    planned_from = serializers.DateField(required=False)
    planned_to = serializers.DateField(required=False)
    code = Text(max_length=20, required=False)


class WeighingIn(Body):
    line = Id(allow_null=True, required=False)
    lot = Id(required=False, allow_null=True, help_text="Not needed for what is not stocked.")
    material = Id(required=False, help_text="Without a line: what is added.")
    quantity = QuantityField()
    happened_at = Moment(required=False)
    deviation = DeviationIn(required=False, allow_null=True)


class WeighedOut(WeighingOut):
    value = Shown(allow_null=True)
    headroom_grams = Shown(allow_null=True, help_text="Of a to-effect line: what may still go in.")
    effect = EffectOut(allow_null=True, help_text="How a to-effect line stands after it.")
    heat = HeatOut(allow_null=True, help_text="Of a line with a maximum temperature.")
    earlier_lot = EarlierLotOut(
        allow_null=True,
        help_text="An older lot that could be used: noted as newer_lot, with a reason if you like.",
    )
    opened_until = serializers.DateField(
        allow_null=True,
        help_text="By when the lot is to be used, if this weighing opened it; else null.",
    )
    cautions = StepCautionOut(many=True)


class WeighBackIn(Body):
    lot = Id()
    line = Id(required=False, allow_null=True)
    quantity = QuantityField()
    reason = Text(max_length=400, required=False)
    happened_at = Moment(required=False)


class SampleIn(Body):
    quantity = QuantityField()
    reason = Text(max_length=400)
    purpose = Choice(
        PURPOSES, required=False, help_text="As of an issue; a plain sample if left out."
    )


class AbnormalIn(Body):
    quantity = QuantityField()
    reason = Text(max_length=400)


class FinishIn(Body):
    output = QuantityField()
    units = Whole(min_value=1, max_value=1_000_000, required=False)
    happened_at = Moment(required=False)
    samples = listed(SampleIn, most=20, required=False)
    abnormal_loss = AbnormalIn(required=False, allow_null=True)
    marc = QuantityField(
        required=False, allow_null=True, help_text="Of an infusion: what was strained out."
    )
    by_products = listed(ByProductIn, most=20, required=False)
    joint = JointIn(required=False, allow_null=True)
    release = ReleaseIn(required=False, allow_null=True)
    labour_minutes = DecimalText(
        least="0",
        most="100000",
        required=False,
        allow_null=True,
        help_text="What it took in all; left out: the minutes of the product's policy.",
    )
    label_version = Text(max_length=60, required=False, allow_blank=True)


class CancelIn(Body):
    reason = Text(max_length=400)
    happened_at = Moment(required=False)


def brief_json(row: Batch) -> dict[str, Any]:
    formula = row.version.formula
    return {
        "id": str(row.id),
        "code": row.code,
        "state": row.state,
        "product": row.product_id and str(row.product_id),
        "formula": str(formula.id),
        "name": row.product.name if row.product else formula.name,
        "version": row.version.number,
        "units": row.units,
        "planned_for": row.planned_for,
        "batch_grams": plain(row.batch_grams),
        "output_grams": plain(row.output_grams),
        "note": row.note,
        "created_at": row.created_at,
    }


def batch_json(actor: Actor, row: Batch) -> dict[str, Any]:
    return {
        **_planned_json(row),
        "finished": _finished_of(actor, row),
        "later_bills": later_bills_json(actor, row),
        "later_counts": later_counts_json(actor, row),
    }


def new_batch_json(actor: Actor, row: Batch) -> dict[str, Any]:
    """The same of a batch that was just planned: nothing is finished, and nothing was used."""
    return {
        **_planned_json(row),
        "finished": None,
        "later_bills": no_bills_json(actor),
        "later_counts": no_counts_json(actor),
    }


def _planned_json(row: Batch) -> dict[str, Any]:
    return {
        **brief_json(row),
        "lines": lines_json(row),
        "packaging": packaging_json(row),
        "infusion": planned_infusion_json(row),
        "weighings": [
            weighing_json(one, list(one.second_looks.all())) for one in row.weighings.all()
        ],
        **measured_json(row),
        "top_ups": [top_up_brief(one) for one in sorted(row.top_ups.all(), key=lambda o: o.id)],
        "cautions": cautions_json(of_plan(row) if row.state == Batch.State.PLANNED else ()),
    }


def weighing_json(row: Weighing, second_looks: Sequence[SecondLook] = ()) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "entry": str(row.entry_id),
        "line": row.line_id and str(row.line_id),
        "lot": str(row.lot_id),
        "code": row.lot.code,
        "material": str(row.lot.material_id),
        "quantity": quantity_json(row.entered, row.quantity, row.lot.material.counted),
        "deviation": row.deviation,
        "overrode": row.overrode,
        "happened_at": row.happened_at,
        "person": str(row.person_id),
        "second_look": next((str(look.person_id) for look in second_looks), None),
    }


def _finished_of(actor: Actor, row: Batch) -> dict[str, Any] | None:
    if row.making is None:
        return None
    status = custody_of(actor, row.making.lot).status
    cost, yielded = finishing.cost_of(row.making), finishing.yield_of(row.making, row)
    return finished_json(actor, row, status, cost, yielded)


def finished_json(
    actor: Actor, batch: Batch, status: str, cost: BatchCost, yielded: BatchYield
) -> dict[str, Any]:
    making, windows = batch.making, windows_of(batch.version)
    standing = standing_of(standing_rows(batch), windows)
    return {
        **standing_json(standing, windows),
        "cautions": cautions_json(of_finish(batch)),
        "id": str(batch.id),
        "entry": str(making.entry_id),
        "code": batch.code,
        "state": batch.state,
        "lot": {"id": str(making.lot_id), "code": making.lot.code, "status": status},
        "expires_on": making.lot.expires_on,
        "dates_note": making.lot.dates_note,
        "output_grams": plain(making.output_grams),
        "units": making.units,
        "labour_minutes": shortest(making.labour_minutes),
        "label_version": making.label_version,
        "yield_percent": plain(yielded.yield_percent),
        "plan_percent": plain(yielded.plan_percent),
        "loss": {
            "expected_grams": plain(yielded.expected_grams),
            "actual_grams": plain(yielded.actual_grams),
            "beyond_grams": plain(yielded.beyond_grams),
        },
        "by_products": by_products_json(actor, making),
        "joint": joint_json(actor, making),
        "infusion": steeped_json(making, batch.version),
        "mass_balance": mass_balance_json(making),
        "note": MORE_THAN_WENT_IN if yielded.actual_grams < 0 else "",
        "cost": cost_json(cost, actor.currency) if actor.may(Verb.SEE_COSTS) else None,
    }


def cost_json(cost: BatchCost, currency: str) -> dict[str, Any]:
    """The cost at the minor unit, where it still adds up."""
    rounded = shown(cost, currency)
    return {one.name: plain(getattr(rounded, one.name)) for one in fields(rounded)}


def samples_of(data: dict[str, Any]) -> list[Sample]:
    return [Sample(**sample) for sample in data.get("samples", [])]


def weighed_json(actor: Actor, done: weighing.Weighed) -> dict[str, Any]:
    row = done.weighing
    row.lot = done.lot
    value = plain(round_money(done.value, actor.currency)) if actor.may(Verb.SEE_COSTS) else None
    return {
        **weighing_json(row),
        "value": value,
        "headroom_grams": plain(done.headroom_grams),
        "effect": done.effect and shown_of(done.effect),
        "heat": done.heat and heat_json(done.heat),
        "earlier_lot": done.earlier and earlier_json(done.earlier),
        "opened_until": done.opened_until,
        "cautions": cautions_json(of_weighing(done)),
    }
