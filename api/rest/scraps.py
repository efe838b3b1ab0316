"""Scrap of a batch in process, and rework."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, writes
from api.rest import examples
from api.rest.batch_shapes import STATES, WeighedOut, weighed_json
from api.rest.deviation_shapes import DeviationIn
from api.rest.fields import Body, DecimalText, Id, Moment, QuantityField, Shown, Text, plain
from api.rest.receipts import LotBrief
from formulas import reworking, scrapping
from ledger.access import Actor
from ledger.models import Status
from ledger.money import round_money
from ledger.roles import Verb


class KeptIn(Body):
    quantity = QuantityField()
    nrv = DecimalText(
        least="0",
        required=False,
        allow_null=True,
        help_text="What all of it will bring, less what it still costs to finish and sell.",
    )


class ScrapIn(Body):
    quantity = QuantityField(
        required=False, help_text="Only so much, and the batch goes on; all, if left out."
    )
    kept = KeptIn(required=False, allow_null=True, help_text="What is kept for rework.")
    reason = Text(max_length=400)
    happened_at = Moment(required=False)


class ScrapCostOut(serializers.Serializer[Any]):
    total = Shown()
    per_kg = Shown(help_text="What a good kilogram would have cost.")
    kept = Shown(help_text="What is kept carries.")
    abnormal = Shown(help_text="What is expensed.")


class ScrappedOut(serializers.Serializer[Any]):
    entry = Id()
    batch = Id()
    code = Text()
    state = serializers.ChoiceField(STATES)
    scrapped_grams = Shown(help_text="All that went in but for what is kept.")
    kept_grams = Shown()
    lost_grams = Shown(help_text="The same without the normal loss.")
    lot = LotBrief(allow_null=True, help_text="What is kept, in quarantine.")
    cost = ScrapCostOut(allow_null=True, help_text="Null for who may not see costs.")


class ReworkIn(Body):
    lot = Id(help_text="What was made before.")
    quantity = QuantityField()
    approval = Text(max_length=400, help_text="Who approved it, and on what basis.")
    deviation = DeviationIn(required=False, allow_null=True, help_text="For more than allowed.")
    happened_at = Moment(required=False)


class ReworkedOut(WeighedOut):
    approval = Text()
    rework_percent = Shown(help_text="All rework, of the batch as planned.")
    rework_max_percent = Shown()


class Scraps(Resource):
    """Scrap of a batch in process."""

    @writes(ScrapIn, ScrappedOut, examples=examples.SCRAP)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Scrap a batch that failed, all but what is kept for rework; or a part of it."""
        facts = {
            "batch": id,
            "reason": data["reason"],
            "happened_at": data.get("happened_at", self.now),
        }
        kept = data.get("kept")
        if "quantity" in data:
            _not_both(kept)
            done = scrapping.scrap_part(actor, quantity=data["quantity"], **facts)
        else:
            wanted = scrapping.Kept(**kept) if kept else None
            done = scrapping.scrap_batch(actor, kept=wanted, **facts)
        return _scrapped_json(actor, done)


class Reworks(Resource):
    """Rework."""

    @writes(ReworkIn, ReworkedOut, examples=examples.REWORK)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Weigh a lot that was made before into a batch, within the formula's maximum."""
        deviation = data.get("deviation")
        done = reworking.rework(
            actor,
            batch=id,
            lot=data["lot"],
            quantity=data["quantity"],
            approval=data["approval"],
            happened_at=data.get("happened_at", self.now),
            deviation=deviation["reason"] if deviation else "",
        )
        return {
            **weighed_json(actor, done.weighed),
            "approval": done.rework.approval,
            "rework_percent": plain(done.rework.percent),
            "rework_max_percent": plain(done.rework.max_percent),
        }


def _not_both(kept: Any) -> None:
    if kept is not None:
        raise serializers.ValidationError(
            {"kept": ["Something is kept when all is scrapped: leave quantity out."]}
        )


def _scrapped_json(actor: Actor, done: scrapping.Scrapped) -> dict[str, Any]:
    lot, cost = done.lot, done.cost
    kept, abnormal = (round_money(one, actor.currency) for one in (cost.kept, cost.abnormal))
    brief = {"id": str(lot.id), "code": lot.code, "status": Status.QUARANTINE} if lot else None
    return {
        "entry": str(done.entry_id),
        "batch": str(done.batch.id),
        "code": done.batch.code,
        "state": done.batch.state,
        "scrapped_grams": plain(done.scrapped_grams),
        "kept_grams": plain(done.kept_grams),
        "lost_grams": plain(cost.lost_grams),
        "lot": brief,
        "cost": {
            "total": plain(round_money(cost.kept + cost.abnormal, actor.currency)),
            "per_kg": plain(cost.per_kg),
            "kept": plain(kept),
            "abnormal": plain(abnormal),
        }
        if actor.may(Verb.SEE_COSTS)
        else None,
    }
