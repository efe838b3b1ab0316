"""How the differences that a count found later are shown with a batch."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.rest.fields import Id, Shown, Text, plain
from formulas.later_counts import LaterCount, later_counts_of
from formulas.models import Batch
from ledger.access import Actor
from ledger.money import round_money
from ledger.roles import Verb


class LaterCountOut(serializers.Serializer[Any]):
    count = Id(help_text="The sheet.")
    entry = Id()
    lot = Id()
    code = Text()
    reason = Text()
    quantity = Shown(help_text="What the batch took beyond what was booked: grams, or pieces.")
    amount = Shown(help_text="What that cost; below zero it took less.")


class LaterCountsOut(serializers.Serializer[Any]):
    """A difference of the period, beside what the batch cost."""

    total = Shown()
    counts = LaterCountOut(many=True)


def later_counts_json(actor: Actor, batch: Batch) -> dict[str, Any] | None:
    """What counts found to belong to a batch that was finished, for who may see costs."""
    if not actor.may(Verb.SEE_COSTS):
        return None
    return _told(actor, later_counts_of(actor, batch))


def no_counts_json(actor: Actor) -> dict[str, Any] | None:
    """The same of a batch that has used nothing yet."""
    return _told(actor, []) if actor.may(Verb.SEE_COSTS) else None


def _told(actor: Actor, found: Sequence[LaterCount]) -> dict[str, Any]:
    total = sum((one.amount for one in found), Decimal(0))
    return {
        "total": plain(round_money(total, actor.currency)),
        "counts": [
            {
                "count": str(one.cause.line.sheet_id),
                "entry": str(one.cause.entry_id),
                "lot": str(one.cause.line.lot_id),
                "code": one.cause.line.lot.code,
                "reason": one.cause.reason,
                "quantity": plain(one.quantity),
                "amount": plain(round_money(one.amount, actor.currency)),
            }
            for one in found
        ],
    }
