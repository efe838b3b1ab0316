"""Handing out what came of a round: what it comes to, and doing it."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, reads, writes
from api.rest import round_examples
from api.rest.fields import Body, Flag, Id, Moment, Shown, Text
from api.rest.round_shapes import Amount, amount_json, money
from api.rest.transfers import PartyOut
from ledger.access import Actor
from ledger.round_handing import HandingOut, MakerLines, hand_out, handing_out
from ledger.round_limits import Above
from ledger.round_lots import Move

HAND_OUT_STATES = ["waiting", "ready", "handed_out"]
MOST_LOTS = 200


SURE = (
    "Needed where others pay more than the highest price that they have named (`above`): that you"
    " mean it."
)


class HandOutIn(Body):
    lots = serializers.ListField(
        child=Id(),
        required=False,
        max_length=MOST_LOTS,
        help_text="Out of which lots, in this order. Of a material of which none is named, those"
        " that came of the round, the oldest first.",
    )
    happened_at = Moment(required=False, help_text="When they were handed out; now, if left out.")
    note = Text(max_length=400, required=False, allow_blank=True)
    sure = Flag(required=False, help_text=SURE)


class HandOutLineOut(serializers.Serializer[Any]):
    material = Id()
    material_name = Text()
    promised = Amount(help_text="What was pledged, and what is left of packs beyond that.")
    split = Shown(help_text="What the round asks for that.")
    quantity = Amount(
        allow_null=True,
        help_text="null as long as only the buyer may know what came. Less than promised where less"
        " came: as the pledges stand to each other, in steps of 0.01 g or a piece. Leftover is"
        " handed out only when all pledges are served.",
    )
    amount = Shown(allow_null=True)


class HandOutPortionOut(serializers.Serializer[Any]):
    maker = PartyOut()
    split = Shown(help_text="What the round asks of it.")
    amount = Shown(
        allow_null=True,
        help_text="What it pays, told to others than the buyer once it is handed out: the same,"
        " where all came as ordered. Otherwise what was really paid, as the split stands, and never"
        " for what did not come.",
    )
    lines = HandOutLineOut(many=True)


class HandOutMoveOut(serializers.Serializer[Any]):
    maker = Id()
    material = Id()
    lot = Id()
    code = Text()
    quantity = Amount()
    amount = Shown()
    transfer = Id(allow_null=True, help_text="The move between makers, once it is made.")


class AboveOut(serializers.Serializer[Any]):
    maker = PartyOut()
    material = Id()
    material_name = Text()
    more = Shown(help_text="Than was split for what it gets.")
    goods_dearer = serializers.BooleanField(
        help_text="Whether its goods cost more than reckoned; otherwise it is what is charged"
        " beside them."
    )


class HandOutOut(serializers.Serializer[Any]):
    round = Id()
    state = serializers.ChoiceField(HAND_OUT_STATES)
    missing = serializers.ListField(child=Text(), help_text="What stands in its way.")
    happened_at = Moment(allow_null=True)
    note = Text(allow_blank=True)
    paid = Shown(
        allow_null=True,
        help_text="What was really paid for what came, and what all pay together. null for a maker"
        " if fewer than three take part.",
    )
    within_alone = serializers.BooleanField(
        allow_null=True,
        help_text="Whether nobody pays more than what it gets would have cost it alone.",
    )
    portions = HandOutPortionOut(
        many=True, help_text="Your own; all for the buyer and for whoever acts for the co-op."
    )
    above = AboveOut(
        many=True,
        help_text="Who pays more than the highest price that it has named. For the buyer, before it"
        " is handed out; afterwards your own.",
    )
    moves = HandOutMoveOut(
        many=True, help_text="Out of which lots: the buyer's before, and your own when it is done."
    )


class RoundHandOuts(Resource):
    """Handing out what came of a round."""

    @reads(None, HandOutOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show what would be moved and what each would pay, or what was; nothing is written."""
        return hand_out_json(handing_out(actor, id), actor)

    @writes(HandOutIn, HandOutOut, examples=round_examples.HAND_OUT)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Move to each maker what it is owed of the round, at what it pays; as its buyer, once."""
        done = hand_out(actor, round=id, **{"happened_at": self.now, **data})
        return hand_out_json(done, actor)


def hand_out_json(told: HandingOut, actor: Actor) -> dict[str, Any]:
    done, currency = told.done, actor.currency
    return {
        "round": str(told.round.id),
        "state": "handed_out" if done else "waiting" if told.missing else "ready",
        "missing": list(told.missing),
        "happened_at": done and done.happened_at,
        "note": done.note if done else "",
        "paid": None if told.paid is None else money(told.paid, currency),
        "within_alone": told.within_alone,
        "portions": [_portion(one, currency) for one in told.makers],
        "above": [above_json(one, currency) for one in told.above],
        "moves": [_move(one, currency) for one in told.moves],
    }


def above_json(one: Above, currency: str) -> dict[str, Any]:
    return {
        "maker": {"id": str(one.maker_id), "name": one.maker_name},
        "material": str(one.material.id),
        "material_name": one.material.name,
        "more": money(one.more, currency),
        "goods_dearer": one.goods_dearer,
    }


def _portion(one: MakerLines, currency: str) -> dict[str, Any]:
    return {
        "maker": {"id": str(one.maker_id), "name": one.maker_name},
        "split": money(one.split, currency),
        "amount": None if one.amount is None else money(one.amount, currency),
        "lines": [
            {
                "material": str(line.material.id),
                "material_name": line.material.name,
                "promised": amount_json(line.promised, line.material.counted),
                "split": money(line.split, currency),
                "quantity": None
                if line.quantity is None
                else amount_json(line.quantity, line.material.counted),
                "amount": None if line.amount is None else money(line.amount, currency),
            }
            for line in one.lines
        ],
    }


def _move(one: Move, currency: str) -> dict[str, Any]:
    return {
        "maker": str(one.maker_id),
        "material": str(one.lot.material_id),
        "lot": str(one.lot.id),
        "code": one.lot.code,
        "quantity": amount_json(one.quantity, one.lot.material.counted),
        "amount": money(one.amount, currency),
        "transfer": one.transfer_id and str(one.transfer_id),
    }
