"""What came later on what a batch used: shown beside its cost, which stays as it was."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db.models import Exists, OuterRef, Q

from formulas.models import Batch, Making
from ledger.access import Actor
from ledger.models import Bill, BillUse, Entry


@dataclass(frozen=True, slots=True)
class LaterBill:
    """So much of one bill falls on what the batch used of one lot."""

    bill: Bill
    lot: str
    lot_id: UUID
    quantity: Decimal
    amount: Decimal


def later_bills_of(actor: Actor, batch: UUID) -> list[LaterBill]:
    """The bills that stand and fell on a batch, its packaging included, in their order.

    Each is reckoned by how the batch stood when the bill was booked.
    """
    undone = Entry.objects.filter(
        reverses=OuterRef("line__bill__entry_id"), coop_id=OuterRef("coop_id")
    )
    accounts = Batch.objects.filter(maker_id=actor.maker, id=batch).values("account_id")
    makings = Making.objects.filter(maker_id=actor.maker, batch_id=batch).values("entry_id")
    rows = BillUse.objects.select_related("line__bill", "line__line__lot").filter(
        Q(account_id__in=accounts) | Q(entry_id__in=makings), ~Exists(undone), maker_id=actor.maker
    )
    return [
        LaterBill(
            bill=row.line.bill,
            lot=row.line.line.lot.code,
            lot_id=row.line.line.lot_id,
            quantity=row.quantity,
            amount=row.amount,
        )
        for row in rows.order_by("line__bill_id", "line__line__position", "id")
    ]


def batches_in(actor: Actor, bills: Iterable[Bill]) -> dict[UUID, tuple[UUID, str]]:
    """The batch, by id and code, of each account and each making that these bills fell on."""
    uses: Sequence[BillUse] = [
        use for bill in bills for line in bill.lines.all() for use in line.uses.all()
    ]
    found: dict[UUID, tuple[UUID, str]] = {}
    accounts = {use.account_id for use in uses if use.account_id}
    makings = {use.entry_id for use in uses if use.entry_id}
    rows = Batch.objects.filter(maker_id=actor.maker, account_id__in=accounts)
    for account, id, code in rows.values_list("account_id", "id", "code"):
        found[account] = (id, code)
    made = Making.objects.filter(maker_id=actor.maker, entry_id__in=makings)
    for entry, id, code in made.values_list("entry_id", "batch_id", "batch__code"):
        found[entry] = (id, code)
    return found
