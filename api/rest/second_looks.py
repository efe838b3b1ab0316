"""A second person's look at a weighing."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, writes
from api.rest import examples
from api.rest.fields import Body, Id, Moment, Text
from formulas.models import SecondLook
from formulas.second_looks import look_again
from ledger.access import Actor


class SecondLookIn(Body):
    weighing = Id(help_text="One of the batch, by somebody else.")
    note = Text(max_length=400, required=False, allow_blank=True)


class SecondLookOut(serializers.Serializer[Any]):
    id = Id()
    weighing = Id()
    note = Text(allow_blank=True)
    looked_at = Moment()
    person = Id()


def second_look_json(row: SecondLook) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "weighing": str(row.weighing_id),
        "note": row.note,
        "looked_at": row.looked_at,
        "person": str(row.person_id),
    }


class SecondLooks(Resource):
    """Second looks at a weighing."""

    @writes(SecondLookIn, SecondLookOut, examples=examples.SECOND_LOOK)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Sign that a second person has seen lot, scale and figure of a weighing."""
        look = look_again(actor, batch=id, now=self.now, **data)
        return second_look_json(look)
