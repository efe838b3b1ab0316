"""That what is added to effect is enough."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, writes
from api.rest import examples
from api.rest.effect_shapes import EnoughOut, enough_json
from api.rest.fields import Body, Flag, Id
from formulas.enough import say_enough
from ledger.access import Actor


class EnoughIn(Body):
    line = Id(help_text="One to effect, of which something is in.")
    enough = Flag(help_text="false takes the word back.")


class SaidOut(EnoughOut):
    line = Id()
    enough = serializers.BooleanField()


class Words(Resource):
    """Words on the lines to effect of a batch."""

    @writes(EnoughIn, SaidOut, examples=examples.ENOUGH)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Say that what is in of a line to effect is enough, or that it is not after all."""
        word = say_enough(actor, batch=id, now=self.now, **data)
        return {"line": str(word.line_id), "enough": word.enough, **enough_json(word)}
