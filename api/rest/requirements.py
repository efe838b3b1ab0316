"""What planned batches need in the weeks to come."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, reads
from api.rest.fields import Body, Id, Shown, Text, shortest
from formulas.requirement_records import Week
from formulas.requirements import Requirement, Requirements, requirements
from ledger.access import Actor, day_of
from ledger.quantities import kept_in
from ledger.reordering import Reorder

EIGHT_WEEKS = timedelta(days=55)
FINEST = Decimal("0.000001")


class RequirementsQuery(Body):
    until = serializers.DateField(
        required=False, help_text="Batches planned up to this day; eight weeks if left out."
    )


class RequirementWeekOut(serializers.Serializer[Any]):
    first = serializers.DateField()
    last = serializers.DateField()
    gross = Shown(help_text="Needed in it; what is overdue counts in the first week.")
    scheduled = Shown(help_text="To come: what is on order, and what planned batches give.")
    expiring = Shown(help_text="Lost in it, since nobody uses it in time.")
    projected = Shown(help_text="Left at its end, with the net need covered.")
    net = Shown(help_text="Not covered.")
    release = Shown(help_text="To order or plan in it, so that a later week is covered.")
    late = Shown(help_text="The part of it that should have been ordered before.")


class ReorderNeedOut(serializers.Serializer[Any]):
    point = Shown(help_text="That is watched.")
    position = Shown(help_text="What can be counted on; of what is made, with planned batches.")
    up_to = Shown(help_text="The point and a week's use; a gram or piece where none was used.")
    quantity = Shown(help_text="From the position up to there.")


class RequirementOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    unit = serializers.ChoiceField(["g", "each"])
    formula = Id(allow_null=True, help_text="That makes it; null for what is bought.")
    lead_time_days = serializers.IntegerField(
        allow_null=True, help_text="Of the offer that comes soonest, if it is known."
    )
    usable = Shown(help_text="Released and in date today, promises to batches included.")
    safety = Shown(help_text="To be there still at the end of each week, as its watch has it.")
    net = Shown(help_text="All that is not covered, the safety stock included.")
    reorder = ReorderNeedOut(allow_null=True, help_text="Of what is at or below its watched point.")
    to_order = Shown(help_text="What covers the needs, and lifts it above its point.")
    weeks = RequirementWeekOut(many=True)


class RequirementsOut(serializers.Serializer[Any]):
    first = serializers.DateField()
    last = serializers.DateField()
    materials = RequirementOut(many=True)


def requirements_json(found: Requirements) -> dict[str, Any]:
    return {
        "first": found.first,
        "last": found.last,
        "materials": [_row(row) for row in found.rows],
    }


def _row(row: Requirement) -> dict[str, Any]:
    record = row.record
    return {
        "material": str(row.material.id),
        "name": row.material.name,
        "unit": kept_in(row.material.counted),
        "formula": record.formula,
        "lead_time_days": record.lead_days,
        "usable": shortest(record.usable),
        "safety": shortest(record.safety),
        "net": shortest(record.net),
        "reorder": None if row.reorder is None else _reorder(row.reorder),
        "to_order": shortest(row.to_order.quantize(FINEST)),
        "weeks": [_week(week) for week in record.weeks],
    }


def _reorder(low: Reorder) -> dict[str, Any]:
    return {
        "point": shortest(low.point),
        "position": shortest(low.position),
        "up_to": shortest(low.up_to.quantize(FINEST)),
        "quantity": shortest(low.quantity.quantize(FINEST)),
    }


def _week(week: Week) -> dict[str, Any]:
    netted = week.netted
    return {
        "first": week.first,
        "last": week.last,
        "gross": shortest(week.needed),
        "scheduled": shortest(netted.scheduled),
        "expiring": shortest(week.expiring),
        "projected": shortest(netted.projected),
        "net": shortest(netted.net),
        "release": shortest(netted.release),
        "late": shortest(netted.late),
    }


class MaterialRequirements(Resource):
    """What is needed, week by week."""

    @reads(RequirementsQuery, RequirementsOut)
    def get(self, actor: Actor, query: dict[str, Any]) -> dict[str, Any]:
        """What planned batches need of each material, through all intermediates, by week."""
        today = day_of(actor, self.now)
        until: date = query.get("until", today + EIGHT_WEEKS)
        return requirements_json(requirements(actor, now=self.now, until=until))
