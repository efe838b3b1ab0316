"""What a plan meets on its way: a lot that runs out, goods that have arrived since."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, writes
from api.rest import examples
from api.rest.batch_lines import CautionOut, TopUpBrief, top_up_brief
from api.rest.batch_shapes import BatchOut, batch_json
from api.rest.fields import Body, Id, Shown, Text, plain
from formulas import repicking, topping_up
from formulas.access import batches_of, with_details
from ledger.access import Actor, find
from ledger.roles import Verb


class TopUpIn(Body):
    """The line, the lot whose rest is used up, and what makes up: a material or a certain lot."""

    line = Id()
    lot = Id(required=False, allow_null=True, help_text="Left out: no more of its own is poured.")
    material = Id(
        required=False,
        allow_null=True,
        help_text="An alternate of the line; left out: the first one that has enough.",
    )
    other_lot = Id(required=False, allow_null=True, help_text="A certain lot to make up with.")


class ReserveIn(Body):
    """Nothing has to be said."""


class ActiveOut(serializers.Serializer[Any]):
    needed_grams = Shown()
    kept_grams = Shown()
    short_grams = Shown()
    unmatched_grams = Shown(help_text="What the step of the scale leaves; below zero: too much.")


class GaveWayOut(serializers.Serializer[Any]):
    line = Id()
    name = Text()
    before_grams = Shown()
    after_grams = Shown()


class PouredCostOut(serializers.Serializer[Any]):
    kept = Shown()
    other = Shown()
    total = Shown()
    planned = Shown(allow_null=True, help_text="Of its own material alone, if that can be told.")


class TopUpOut(TopUpBrief):
    brought_grams = Shown(help_text="What the substitute weighs beyond what it replaces.")
    active = ActiveOut(allow_null=True)
    balance = GaveWayOut(allow_null=True)
    short = Shown(help_text="What no usable lot of the substitute has.")
    cautions = CautionOut(many=True)
    cost = PouredCostOut(allow_null=True, help_text="As the store is now; null without costs.")
    batch = BatchOut()


class TopUps(Resource):
    """Using up the rest of a lot."""

    @writes(TopUpIn, TopUpOut, examples=examples.TOP_UP)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Use up the rest of a lot and make up with another: active matter and water are kept."""
        done = topping_up.top_up(actor, batch=id, **data)
        return _topped_up(actor, done)


class Reservations(Resource):
    """What a planned batch is promised."""

    @writes(ReserveIn, BatchOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Choose the lots of a planned batch anew, as the store is now, and reserve them."""
        repicking.reserve_again(actor, batch=id)
        return _batch(actor, id)


def _topped_up(actor: Actor, done: topping_up.ToppedUp) -> dict[str, Any]:
    made_up, cost = done.made_up, done.cost
    active = balance = None
    if made_up.active_needed is not None:
        active = {
            "needed_grams": plain(made_up.active_needed),
            "kept_grams": plain(made_up.active_kept),
            "short_grams": plain(made_up.active_short),
            "unmatched_grams": plain(made_up.active_left),
        }
    if done.balance is not None:
        balance = {
            "line": str(done.balance.line.id),
            "name": done.balance.material.name,
            "before_grams": plain(done.balance.grams),
            "after_grams": plain(done.balance_grams),
        }
    return {
        **top_up_brief(done.top_up),
        "brought_grams": plain(made_up.brought),
        "active": active,
        "balance": balance,
        "short": plain(done.short),
        "cost": _cost(cost) if actor.may(Verb.SEE_COSTS) else None,
        "batch": _batch(actor, done.batch.id),
    }


def _cost(cost: topping_up.PouredCost) -> dict[str, Any]:
    return {
        "kept": plain(cost.kept),
        "other": plain(cost.other),
        "total": plain(cost.total),
        "planned": plain(cost.planned),
    }


def _batch(actor: Actor, id: Any) -> dict[str, Any]:
    return batch_json(actor, find(with_details(batches_of(actor)), id))
