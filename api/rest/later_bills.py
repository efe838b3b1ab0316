"""How the bills that came later are shown with a batch."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.rest.fields import Id, Shown, Text, plain
from formulas.later_bills import LaterBill, later_bills_of
from formulas.models import Batch
from ledger.access import Actor
from ledger.models import Bill
from ledger.money import round_money
from ledger.roles import Verb


class LaterBillOut(serializers.Serializer[Any]):
    bill = Id()
    receipt = Id()
    kind = serializers.ChoiceField([kind.value for kind in Bill.Kind])
    reference = Text(allow_blank=True)
    lot = Id()
    code = Text()
    quantity = Shown(help_text="Of the lot, what the batch had used: grams, or pieces.")
    amount = Shown()


class LaterBillsOut(serializers.Serializer[Any]):
    """A difference of the period, beside what the batch cost."""

    total = Shown()
    bills = LaterBillOut(many=True)


def later_bills_json(actor: Actor, batch: Batch) -> dict[str, Any] | None:
    """What later bills put on a batch, for who may see costs."""
    if not actor.may(Verb.SEE_COSTS):
        return None
    return _told(actor, later_bills_of(actor, batch.id))


def no_bills_json(actor: Actor) -> dict[str, Any] | None:
    """The same of a batch that has used nothing yet."""
    return _told(actor, []) if actor.may(Verb.SEE_COSTS) else None


def _told(actor: Actor, found: Sequence[LaterBill]) -> dict[str, Any]:
    total = sum((one.amount for one in found), Decimal(0))
    return {
        "total": plain(round_money(total, actor.currency)),
        "bills": [
            {
                "bill": str(one.bill.id),
                "receipt": str(one.bill.receipt_id),
                "kind": one.bill.kind,
                "reference": one.bill.reference,
                "lot": str(one.lot_id),
                "code": one.lot,
                "quantity": plain(one.quantity),
                "amount": plain(round_money(one.amount, actor.currency)),
            }
            for one in found
        ],
    }
