"""Closing a count: differences that belong to a batch go to it, or to its cost difference.

What was misbooked into a batch in process goes there at its cost and stands among its weighings.
A finished batch keeps its figures, and nothing earlier is recosted: what belongs to it goes to an
account of its cost difference, which names it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from formulas.models import Batch, Weighing
from formulas.repromising import promise_again
from ledger.access import Actor, find, lots_for
from ledger.count_closing import Closed, Explained, close_sheet
from ledger.counting import sheets_of
from ledger.entries import open_account
from ledger.errors import (
    Conflict,
    Invalid,
    NotFound,
    Sentence,
    placed,
)
from ledger.measuring import density_of, measure
from ledger.models import Account, CountCause, Lot
from ledger.quantities import Quantity
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class Cause:
    """Part of a difference: how much, or what was booked and what it really was, and why.

    Without any of these it is the rest of the difference. `batch` says into which batch it was
    misbooked.
    """

    cause: str
    reason: str
    quantity: Quantity | None = None
    booked: Quantity | None = None
    really: Quantity | None = None
    batch: UUID | str | None = None


@dataclass(frozen=True, slots=True)
class Explanation:
    """The causes of one lot's difference."""

    lot: UUID | str
    causes: Sequence[Cause]


def close_count(
    actor: Actor,
    *,
    sheet: UUID | str,
    explanations: Sequence[Explanation],
    now: datetime,
    leave_unread: bool = False,
) -> Closed:
    """Close a count sheet and post what explains its differences (ISO 22716 6.6.8, 9).

    Raises what `ledger.count_closing.close_sheet` does, Forbidden for a batch by whoever may not
    weigh, and Conflict for a batch that was cancelled.
    """
    actor.must(Verb.COUNT)
    find(sheets_of(actor), sheet)
    wanted = [(one.lot, f"/explanations/{n}/lot") for n, one in enumerate(explanations)]
    lots = lots_for(actor, wanted)
    if len({lot.id for lot in lots}) < len(lots):
        raise Invalid("A lot stands twice here; name its causes together.", pointer="/explanations")
    batches = _batches(actor, explanations)
    causes = [
        _explained(actor, lot, cause, batches, f"/explanations/{n}/causes/{m}")
        for n, (one, lot) in enumerate(zip(explanations, lots, strict=True))
        for m, cause in enumerate(one.causes)
    ]
    closed = close_sheet(actor, sheet=sheet, causes=causes, now=now, leave_unread=leave_unread)
    _keep_weighings(actor, closed, {batch.account_id: batch for batch in batches.values()})
    return closed


def cost_difference_of(actor: Actor, batch: Batch) -> UUID:
    """The account of what a finished batch cost otherwise than it was booked; opened if needed."""
    label = f"cost difference of {batch.code}"
    return open_account(actor, Account.Kind.COST_DIFFERENCE, str(batch.id), label=label)


def _batches(actor: Actor, explanations: Sequence[Explanation]) -> dict[str, Batch]:
    """The batches that are named, locked in the order of their ids."""
    named: dict[str, str] = {}
    for n, one in enumerate(explanations):
        for m, cause in enumerate(one.causes):
            pointer = f"/explanations/{n}/causes/{m}/batch"
            if (cause.batch is not None) != (cause.cause == CountCause.Cause.MISBOOKED):
                raise Invalid(
                    "A misbooking names its batch, and no other cause does.", pointer=pointer
                )
            if cause.batch is not None:
                named.setdefault(str(cause.batch).lower(), pointer)
    if not named:
        return {}
    actor.must(Verb.MAKE)
    ids = {}
    for text, pointer in named.items():
        try:
            ids[UUID(text)] = pointer
        except ValueError as error:
            raise NotFound(pointer=pointer) from error
    rows = Batch.objects.select_for_update(of=("self",), no_key=True).filter(
        maker_id=actor.maker, id__in=ids
    )
    found = {batch.id: batch for batch in rows.order_by("id")}
    for id, pointer in ids.items():
        if id not in found:
            raise NotFound(pointer=pointer)
        if found[id].state == Batch.State.CANCELLED:
            raise Conflict(
                Sentence(
                    "The batch {code} was cancelled, and what had been weighed went back: name"
                    " another cause.",
                    code=found[id].code,
                ),
                pointer=pointer,
            )
    return {text: found[UUID(text)] for text in named}


def _explained(
    actor: Actor, lot: Lot, cause: Cause, batches: dict[str, Batch], pointer: str
) -> Explained:
    if not cause.reason.strip():
        raise Invalid("Say how this is known.", pointer=f"{pointer}/reason")
    quantity, entered, signed = _amount(lot, cause, pointer)
    into, is_batch, details = None, False, None
    if cause.batch is not None:
        batch = batches[str(cause.batch).lower()]
        is_batch = batch.state == Batch.State.PLANNED
        into = batch.account_id if is_batch else cost_difference_of(actor, batch)
        details = {"batch": str(batch.id)}
    return Explained(
        lot=lot.id,
        pointer=pointer,
        cause=CountCause.Cause(cause.cause),
        reason=cause.reason,
        quantity=quantity,
        signed=signed,
        entered=entered,
        account=into,
        is_batch=is_batch,
        details=details,
    )


def _amount(lot: Lot, cause: Cause, pointer: str) -> tuple[Decimal | None, str, bool]:
    """How much, as it was typed, and whether its sign is known: below zero is gone."""
    if (cause.booked is None) != (cause.really is None):
        raise Invalid("Booked and really go together.", pointer=pointer)
    if cause.booked is None or cause.really is None:
        if cause.quantity is None:
            return None, "", False
        return _grams(lot, cause.quantity, f"{pointer}/quantity"), cause.quantity.entered, False
    if cause.quantity is not None or cause.cause != CountCause.Cause.MISBOOKED:
        raise Invalid(
            "Send a quantity, or for a misbooking what was booked and what it really was.",
            pointer=pointer,
        )
    booked = _grams(lot, cause.booked, f"{pointer}/booked")
    really = _grams(lot, cause.really, f"{pointer}/really")
    return booked - really, f"{cause.really.entered} for {cause.booked.entered}", True


def _grams(lot: Lot, quantity: Quantity, pointer: str) -> Decimal:
    with placed(pointer):
        return measure(quantity, lot.material, density_of(lot)).quantity


def _keep_weighings(actor: Actor, closed: Closed, batches: dict[UUID, Batch]) -> None:
    """What went into a batch in process, or came back out of it, is weighed there too."""
    into = [(kept, told) for kept, told in closed.posted if told.is_batch]
    if not into:
        return
    lines = _lines_of(actor, [(batches[kept.account_id].id, told.lot) for kept, told in into])
    Weighing.objects.bulk_create(
        Weighing(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            batch=batches[kept.account_id],
            line_id=lines.get((batches[kept.account_id].id, told.lot)),
            lot_id=told.lot,
            entered=(kept.entered or f"{abs(kept.quantity):f}")[:64],
            quantity=-kept.quantity,
            entry_id=kept.entry_id,
            happened_at=kept.line.counted_at,
            person_id=actor.person_id,
        )
        for kept, told in into
    )
    for kept, _ in into:
        if kept.quantity > 0:
            promise_again(actor, batches[kept.account_id], [kept.entry_id])


def _lines_of(
    actor: Actor, wanted: Sequence[tuple[UUID, UUID]]
) -> dict[tuple[UUID, UUID], UUID | None]:
    """The line that each lot was last weighed for in each batch, in one query."""
    rows = Weighing.objects.filter(
        maker_id=actor.maker,
        batch_id__in={batch for batch, _ in wanted},
        lot_id__in={lot for _, lot in wanted},
        quantity__gt=0,
    ).order_by("id")
    return {
        (batch, lot): line for batch, lot, line in rows.values_list("batch_id", "lot_id", "line_id")
    }


def batches_named(actor: Actor, ids: Sequence[str]) -> dict[str, Batch]:
    """Batches by their ids as an entry's details have them, for who reads what was posted."""
    rows = Batch.objects.filter(maker_id=actor.maker, id__in=set(ids))
    return {str(batch.id): batch for batch in rows}
