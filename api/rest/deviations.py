"""The deviation register."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads
from api.paging import Paged, page, page_of
from api.rest.entries import KINDS as EVENTS
from api.rest.fields import Choice, Id, Moment, Text
from formulas.deviations import KINDS, DeviationsWanted, deviations_of, kinds_of
from ledger.access import Actor


class DeviationOut(serializers.Serializer[Any]):
    """An entry that did what a rule forbids, or what no formula lists, and why."""

    entry = Id()
    event = serializers.ChoiceField(EVENTS)
    kinds = serializers.ListField(
        child=serializers.ChoiceField(KINDS),
        help_text='What was overridden; "noted" is a reason that stood in no rule\'s way.',
    )
    reason = Text(allow_blank=True)
    batch = Id(allow_null=True)
    batch_code = Text(allow_null=True)
    lots = serializers.ListField(child=Id())
    person = Id()
    person_name = Text()
    happened_at = Moment()
    recorded_at = Moment()
    reversed_by = Id(allow_null=True)


class DeviationQuery(Paged):
    batch = serializers.UUIDField(required=False)
    lot = serializers.UUIDField(required=False)
    kind = Choice(KINDS, required=False)
    since = serializers.DateField(required=False, help_text="From this day on.")


def deviation_json(row: Any) -> dict[str, Any]:
    return {
        "entry": str(row.id),
        "event": row.kind,
        "kinds": kinds_of(row),
        "reason": row.deviation,
        "batch": row.batch_id,
        "batch_code": row.batch_code,
        "lots": [str(id) for id in row.lot_ids],
        "person": str(row.person_id),
        "person_name": row.person_name,
        "happened_at": row.happened_at,
        "recorded_at": row.recorded_at,
        "reversed_by": row.reversed_by and str(row.reversed_by),
    }


class Deviations(Resource):
    """What was overridden, who did so, when and why."""

    @reads(DeviationQuery, page_of(DeviationOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List deviations, the latest heard of first."""
        wanted = DeviationsWanted(**{name: query.get(name) for name in DeviationsWanted.__slots__})
        return page(self.request, query, deviations_of(actor, wanted), deviation_json)
