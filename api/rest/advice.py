"""Advice on a planned batch, and making the intermediates that it lacks."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, reads, writes
from api.rest import examples
from api.rest.batch_shapes import BatchBrief, BatchOut, brief_json
from api.rest.fields import Body, Id, Shown, Text, plain
from formulas import advising, intermediates
from formulas.access import batches_of
from ledger.access import Actor, day_of
from ledger.money import round_money
from ledger.roles import Verb


class PouredOut(serializers.Serializer[Any]):
    lot = Id()
    code = Text()
    quantity = Shown(help_text="Grams, or pieces of what is counted.")
    value = Shown(allow_null=True, help_text="Null for who may not see costs.")
    last_day = serializers.DateField(allow_null=True, help_text="The last day it may be used.")


class SoonerOut(serializers.Serializer[Any]):
    make_by = serializers.DateField()
    picks = PouredOut(many=True)
    value = Shown(allow_null=True)
    saves = Shown(allow_null=True, help_text="What would be written off otherwise.")
    text = Text()


class ExpiringOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    needed = Shown()
    picks = PouredOut(many=True, help_text="As planned.")
    value = Shown(allow_null=True)
    skipped = PouredOut(many=True, help_text="All that is left of lots that expire before the day.")
    at_risk = Shown(allow_null=True)
    sooner = SoonerOut(many=True)


class MaterialWantedOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    grams = Shown()
    available = Shown()
    short = Shown()


class OfferOut(serializers.Serializer[Any]):
    formula = Id()
    name = Text()
    short = Shown(help_text="What the batch lacks of it.")
    output_grams = Shown(help_text="What is still to be planned.")
    batch_grams = Shown(help_text="What that takes: output ÷ (1 - loss).")
    planned = BatchBrief(many=True, help_text="Planned for this batch already.")
    materials = MaterialWantedOut(
        many=True, help_text="What is to be bought for it, through all levels."
    )


class AdviceOut(serializers.Serializer[Any]):
    expiring = ExpiringOut(many=True)
    intermediates = OfferOut(many=True)


class PlannedOut(BatchOut):
    advice = AdviceOut()


class IntermediatesIn(Body):
    planned_for = serializers.DateField(
        required=False, help_text="The batch's own day if left out."
    )


class IntermediatesOut(serializers.Serializer[Any]):
    batches = BatchBrief(many=True)


class Advices(Resource):
    """What to think of before a planned batch is made."""

    @reads(None, AdviceOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show lots that expire before the batch's day, and intermediates that it lacks."""
        advice = advising.advise(actor, batch=id, today=day_of(actor, self.now))
        return advice_json(actor, advice)


class Intermediates(Resource):
    """The batches of intermediates that are planned for a batch."""

    @writes(IntermediatesIn, IntermediatesOut, examples=examples.INTERMEDIATES)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Plan a batch of each intermediate that is short, through all levels."""
        planned = intermediates.plan_intermediates(actor, batch=id, **data)
        rows = batches_of(actor).in_bulk([one.id for one in planned])
        return {"batches": [brief_json(rows[one.id]) for one in planned]}


def advice_json(actor: Actor, advice: advising.Advice) -> dict[str, Any]:
    teller = _Teller(actor)
    return {
        "expiring": [teller.expiring(one) for one in advice.expiring],
        "intermediates": [_offer(one) for one in advice.offers],
    }


class _Teller:
    """Tells values at the minor unit, or not at all."""

    def __init__(self, actor: Actor) -> None:
        self.currency = actor.currency
        self.costs = actor.may(Verb.SEE_COSTS)

    def value(self, value: Any) -> str | None:
        return plain(round_money(value, self.currency)) if self.costs else None

    def poured(self, one: advising.Poured) -> dict[str, Any]:
        return {
            "lot": str(one.lot_id),
            "code": one.code,
            "quantity": plain(one.quantity),
            "value": self.value(one.value),
            "last_day": one.last_day,
        }

    def expiring(self, one: advising.Expiring) -> dict[str, Any]:
        return {
            "material": str(one.material.id),
            "name": one.material.name,
            "needed": plain(one.needed),
            "picks": [self.poured(pick) for pick in one.picks],
            "value": self.value(one.value),
            "skipped": [self.poured(lot) for lot in one.skipped],
            "at_risk": self.value(one.at_risk),
            "sooner": [self.sooner(option) for option in one.sooner],
        }

    def sooner(self, one: advising.Sooner) -> dict[str, Any]:
        saves = self.value(one.saves)
        worth = f", worth {saves} {self.currency}," if self.costs else ""
        return {
            "make_by": one.make_by,
            "picks": [self.poured(pick) for pick in one.picks],
            "value": self.value(one.value),
            "saves": saves,
            "text": f"Made by {one.make_by}, it would use what expires before the planned day"
            f"{worth} instead of leaving it to be written off.",
        }


def _offer(one: advising.Offer) -> dict[str, Any]:
    return {
        "formula": str(one.formula_id),
        "name": one.name,
        "short": plain(one.short),
        "output_grams": plain(one.output_grams),
        "batch_grams": plain(one.batch_grams),
        "planned": [brief_json(batch) for batch in one.planned],
        "materials": [
            {
                "material": str(part.material.id),
                "name": part.material.name,
                "grams": plain(part.grams),
                "available": plain(part.available),
                "short": plain(part.short),
            }
            for part in one.parts
        ],
    }
