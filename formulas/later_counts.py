"""What a count found to belong to a finished batch: shown beside its cost, which stays."""

from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Exists, OuterRef

from formulas.models import Batch
from ledger.access import Actor
from ledger.entries import account
from ledger.models import Account, CountCause, Entry


@dataclass(frozen=True, slots=True)
class LaterCount:
    """So much of a lot that the batch took beyond what was booked; below zero it took less.

    `quantity` is grams or pieces, `amount` what they cost, with the same sign.
    """

    cause: CountCause
    quantity: Decimal
    amount: Decimal


def later_counts_of(actor: Actor, batch: Batch) -> list[LaterCount]:
    """The misbookings that stand and were found after the batch was finished, as they came."""
    undone = Entry.objects.filter(reverses=OuterRef("entry_id"), coop_id=OuterRef("coop_id"))
    rows = CountCause.objects.select_related("line__lot").filter(
        ~Exists(undone),
        maker_id=actor.maker,
        account_id=account(actor, Account.Kind.COST_DIFFERENCE, str(batch.id)),
    )
    return [
        LaterCount(row, -row.quantity, row.value if row.quantity < 0 else -row.value)
        for row in rows.order_by("id")
    ]
