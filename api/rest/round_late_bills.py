"""Bills that came after a round was handed out: what is to be shared, and what was."""

from collections.abc import Sequence
from typing import Any

from rest_framework import serializers

from api.operation import Resource, reads, writes
from api.rest import round_examples
from api.rest.fields import Body, Flag, Id, Moment, Shown, Text
from api.rest.round_hand_outs import SURE, AboveOut, above_json
from api.rest.round_shapes import money
from api.rest.transfers import PartyOut
from ledger.access import Actor
from ledger.round_late_bills import LateBills, LateLine, Shared, late_bills, share_late_bills


class LateBillsIn(Body):
    happened_at = Moment(required=False, help_text="When they were shared; now, if left out.")
    note = Text(max_length=400, required=False, allow_blank=True)
    sure = Flag(required=False, help_text=SURE)


class LatePartOut(serializers.Serializer[Any]):
    maker = PartyOut()
    material = Id()
    material_name = Text()
    amount = Shown(help_text="What it pays more; below zero what it gets back.")
    movement = Id(
        allow_null=True, help_text="What it owes for that, once it is shared; null of the buyer."
    )


class SharedBillOut(serializers.Serializer[Any]):
    id = Id()
    happened_at = Moment()
    note = Text(allow_blank=True)
    amount = Shown(
        allow_null=True,
        help_text="Of all together. null for a maker if fewer than three take part.",
    )
    parts = LatePartOut(
        many=True, help_text="Your own; all for the buyer and for whoever acts for the co-op."
    )


class LateBillsOut(serializers.Serializer[Any]):
    round = Id()
    waiting = LatePartOut(
        many=True,
        help_text="What was billed since the hand-out and is not shared: what each would pay more."
        " For the buyer and for whoever acts for the co-op.",
    )
    above = AboveOut(
        many=True,
        help_text="Who would pay more than the highest price that it has named, for the buyer.",
    )
    shared = SharedBillOut(many=True, help_text="The first one first.")


class RoundLateBills(Resource):
    """Sharing bills that came after a round was handed out."""

    @reads(None, LateBillsOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show what later bills and credits add to what each pays; nothing is written."""
        return late_bills_json(late_bills(actor, id), actor.currency)

    @writes(LateBillsIn, LateBillsOut, examples=round_examples.LATE_BILLS)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Share all that was billed since the hand-out, as the round's buyer.

        Each then has paid what it would have, had the bills come before.
        """
        done = share_late_bills(actor, round=id, **{"happened_at": self.now, **data})
        return late_bills_json(done, actor.currency)


def late_bills_json(told: LateBills, currency: str) -> dict[str, Any]:
    return {
        "round": str(told.round.id),
        "waiting": _parts(told.waiting, currency),
        "above": [above_json(one, currency) for one in told.above],
        "shared": [_shared(one, currency) for one in told.shared],
    }


def _shared(one: Shared, currency: str) -> dict[str, Any]:
    return {
        "id": str(one.row.id),
        "happened_at": one.row.happened_at,
        "note": one.row.note,
        "amount": None if one.amount is None else money(one.amount, currency),
        "parts": _parts(one.lines, currency),
    }


def _parts(lines: Sequence[LateLine], currency: str) -> list[dict[str, Any]]:
    return [
        {
            "maker": {"id": str(line.maker_id), "name": line.maker_name},
            "material": str(line.material.id),
            "material_name": line.material.name,
            "amount": money(line.amount, currency),
            "movement": line.movement_id and str(line.movement_id),
        }
        for line in lines
    ]
