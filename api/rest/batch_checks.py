"""What was looked at before, during and after a batch."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, Choice, Id, Moment, Text
from formulas.checks import check_batch, checks_of
from formulas.models import BatchCheck
from ledger.access import Actor

KINDS = [
    BatchCheck.Kind.START_UP,
    BatchCheck.Kind.EQUIPMENT,
    BatchCheck.Kind.CLEARANCE,
    BatchCheck.Kind.APPROVAL,
]


class BatchCheckIn(Body):
    kind = Choice([str(kind) for kind in KINDS])
    subject = Text(
        max_length=120, required=False, allow_blank=True, help_text='Such as "kettle 2, cleaned".'
    )
    result = Choice(["pass", "fail"])
    note = Text(
        max_length=400, required=False, allow_blank=True, help_text="What was wrong, if it failed."
    )
    happened_at = Moment(required=False)


class BatchCheckOut(serializers.Serializer[Any]):
    id = Id()
    batch = Id()
    kind = serializers.ChoiceField([str(kind) for kind in KINDS])
    subject = Text(allow_blank=True)
    result = serializers.ChoiceField(["pass", "fail"])
    note = Text(allow_blank=True)
    happened_at = Moment()
    person = Id()


def batch_check_json(row: BatchCheck) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "batch": str(row.batch_id),
        "kind": row.kind,
        "subject": row.subject,
        "result": "pass" if row.passed else "fail",
        "note": row.note,
        "happened_at": row.happened_at,
        "person": str(row.person_id),
    }


class BatchChecks(Resource):
    """Checks of a batch: its start, its equipment, a clear line, its approval."""

    @reads(Paged, page_of(BatchCheckOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the checks of a batch, the latest first."""
        return page(self.request, query, checks_of(actor, id), batch_check_json)

    @writes(BatchCheckIn, BatchCheckOut, examples=examples.BATCH_CHECK)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Sign a check; a batch is approved by somebody who has not weighed for it."""
        data.setdefault("happened_at", self.now)
        passed = data.pop("result") == "pass"
        return batch_check_json(check_batch(actor, batch=id, passed=passed, now=self.now, **data))
