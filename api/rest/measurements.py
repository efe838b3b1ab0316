"""What is measured at a batch, and how it stands to the windows of its formula."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.caution_shapes import StepCautionOut, cautions_json
from api.rest.fields import Body, Choice, Flag, Id, Moment, Shown, Text, plain, shortest
from formulas.caution_facts import of_measurement
from formulas.judging import UNIT, Judgement, Measure, Window, told
from formulas.measurements import (
    Standing,
    judged,
    measurements_of,
    record_measurement,
    windows_of,
)
from formulas.models import Measurement
from ledger.access import Actor

MEASURES = [measure.value for measure in Measure]
TYPED = 'As typed, with its unit: "5.4", "72 degC", "5200 mPa.s", "38 s"; an appearance in words.'


class WindowOut(serializers.Serializer[Any]):
    measure = serializers.ChoiceField(MEASURES)
    unit = Text(allow_blank=True)
    target = Text(allow_null=True, help_text="A number, or words for an appearance.")
    low = Shown(allow_null=True)
    high = Shown(allow_null=True)


class MeasurementIn(Body):
    measure = Choice(MEASURES)
    value = Text(max_length=200, help_text=TYPED)
    at = Text(max_length=32, required=False, help_text='How warm it was, such as "25 degC".')
    agrees = Flag(
        required=False, allow_null=True, help_text="Whether an appearance is as it should be."
    )
    phase = Text(max_length=80, required=False, allow_blank=True, help_text="One of the formula's.")
    note = Text(max_length=400, required=False, allow_blank=True, help_text="Where, and how.")
    happened_at = Moment(required=False)
    corrects = Id(required=False, allow_null=True, help_text="The measurement it puts right.")


class MeasurementOut(serializers.Serializer[Any]):
    id = Id()
    batch = Id()
    measure = serializers.ChoiceField(MEASURES)
    value = Text(help_text="In the unit, or in words.")
    unit = Text(allow_blank=True)
    entered = Text()
    at_celsius = Shown(allow_null=True)
    agrees = serializers.BooleanField(allow_null=True)
    phase = Text(allow_blank=True)
    note = Text(allow_blank=True)
    window = WindowOut(allow_null=True)
    judgement = serializers.ChoiceField([one.value for one in Judgement])
    told = Text(allow_blank=True, help_text="How it is outside its window, with both figures.")
    corrects = Id(allow_null=True)
    corrected_by = Id(allow_null=True)
    happened_at = Moment()
    recorded_at = Moment()
    person = Id()


class MeasuredOut(MeasurementOut):
    cautions = StepCautionOut(many=True)


class OutsideOut(serializers.Serializer[Any]):
    """A measure that was last outside its window: to be looked at by a person."""

    measure = serializers.ChoiceField(MEASURES)
    measurement = Id()
    told = Text()


class StandingOut(serializers.Serializer[Any]):
    """How a batch stands to the windows of its version, by the last of each measure."""

    outside_limits = OutsideOut(many=True)
    not_measured = serializers.ListField(child=serializers.ChoiceField(MEASURES))


class MeasurementQuery(Paged):
    measure = Choice(MEASURES, required=False)


def window_json(window: Window) -> dict[str, Any]:
    return {
        "measure": window.measure.value,
        "unit": UNIT[window.measure],
        "target": window.text or shortest(window.target),
        "low": shortest(window.low),
        "high": shortest(window.high),
    }


def measurement_json(row: Measurement, windows: dict[Measure, Window]) -> dict[str, Any]:
    measure = Measure(row.measure)
    window = windows.get(measure)
    corrected_by = getattr(row, "corrected_by_id", None)
    return {
        "id": str(row.id),
        "batch": str(row.batch_id),
        "measure": row.measure,
        "value": row.entered if row.value is None else shortest(row.value),
        "unit": UNIT[measure],
        "entered": row.entered,
        "at_celsius": plain(row.at_celsius),
        "agrees": row.agrees,
        "phase": row.phase,
        "note": row.note,
        "window": window and window_json(window),
        "judgement": judged(row, windows).value,
        "told": told(window, row.value, row.agrees),
        "corrects": row.corrects_id and str(row.corrects_id),
        "corrected_by": corrected_by and str(corrected_by),
        "happened_at": row.happened_at,
        "recorded_at": row.recorded_at,
        "person": str(row.person_id),
    }


def standing_json(standing: Standing, windows: dict[Measure, Window]) -> dict[str, Any]:
    outside = [
        {
            "measure": row.measure,
            "measurement": str(row.id),
            "told": told(windows.get(Measure(row.measure)), row.value, row.agrees),
        }
        for row in standing.outside
    ]
    return {
        "outside_limits": outside,
        "not_measured": [measure.value for measure in standing.not_measured],
    }


class Measurements(Resource):
    """What was measured at a batch."""

    @reads(MeasurementQuery, page_of(MeasurementOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List what was measured at a batch, the latest heard of first."""
        batch, rows = measurements_of(actor, id)
        if "measure" in query:
            rows = rows.filter(measure=query["measure"])
        windows = windows_of(batch.version)
        return page(self.request, query, rows, lambda row: measurement_json(row, windows))

    @writes(MeasurementIn, MeasuredOut, examples=examples.MEASUREMENT)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Keep a measurement; outside its window is said, and decides nothing."""
        facts = {"happened_at": self.now, **data, "measure": Measure(data["measure"])}
        row = record_measurement(actor, batch=id, **facts)
        windows = windows_of(row.batch.version)
        told_of = cautions_json(of_measurement(row, windows))
        return {**measurement_json(row, windows), "cautions": told_of}
