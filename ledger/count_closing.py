"""Closing a count sheet: every difference explained to the last gram, and what follows posted."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor
from ledger.costing import unit_cost
from ledger.counting import book_at, end_sheet, locked_sheet, store_of
from ledger.entries import Move, lock_pools, open_account, post_entry
from ledger.errors import (
    CountOvertaken,
    DifferenceUnexplained,
    Invalid,
    NotCounted,
    NotEnough,
    NotFound,
    RecountNeeded,
    Sentence,
)
from ledger.models import Account, CountCause, CountLine, CountSheet, Entry, Reservation
from ledger.quantities import kept_in
from ledger.releasing import release_promises
from ledger.roles import Verb

ZERO: Final = Decimal(0)
MISBOOKED: Final = CountCause.Cause.MISBOOKED
FOUND: Final = CountCause.Cause.FOUND
# Quantity and value by which what is found is costed: its layer, or else its latest posting.
_COSTED: Final = """
select w.lot, y.quantity, y.value
  from unnest(%(lots)s::uuid[], %(materials)s::uuid[]) w(lot, material)
  cross join lateral (
    (select 1 as choice, l.quantity, l.value from ledger_layer l
       where l.coop_id = %(coop)s and l.maker_id = %(maker)s and l.material_id = w.material
         and l.any_left and (l.lot_id is null or l.lot_id = w.lot))
    union all
    (select 2, abs(p.quantity), abs(p.value) from ledger_posting p
       where p.coop_id = %(coop)s and p.lot_id = w.lot and p.account_id = %(store)s
         and p.quantity <> 0
       order by p.happened_on desc, p.entry_id desc, p.line desc limit 1)
    order by choice limit 1) y
"""


@dataclass(frozen=True, slots=True)
class Explained:
    """Part of a lot's difference and its cause; without a quantity it is what is left of it.

    `quantity` is signed for a misbooking whose direction is known, below zero for what is gone;
    else it is as large as it was told and goes with the cause. `account` is where a misbooking
    belongs, and `is_batch` whether that is a batch in process.
    """

    lot: UUID
    pointer: str
    cause: CountCause.Cause
    reason: str
    quantity: Decimal | None = None
    signed: bool = False
    entered: str = ""
    account: UUID | None = None
    is_batch: bool = False
    details: Mapping[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Closed:
    """A sheet that is closed, and the causes that were posted with what each was told as."""

    sheet: CountSheet
    posted: Sequence[tuple[CountCause, Explained]]


def close_sheet(
    actor: Actor,
    *,
    sheet: UUID | str,
    causes: Sequence[Explained],
    now: datetime,
    leave_unread: bool = False,
) -> Closed:
    """Close a sheet and post what explains its differences, each at the moment of its reading.

    Raises NotFound, CountEnded, NotCounted, RecountNeeded, DifferenceUnexplained, CountOvertaken,
    Invalid, and NotEnough where what was lost has been drawn since.
    """
    actor.must(Verb.COUNT)
    found = locked_sheet(actor, sheet)
    rows = CountLine.objects.select_related("lot__material").filter(
        coop_id=actor.coop_id, sheet=found
    )
    lines = {line.lot_id: line for line in rows.order_by("position")}
    _check_read(list(lines.values()), leave_unread=leave_unread)
    for cause in causes:
        if cause.lot not in lines or lines[cause.lot].counted is None:
            raise NotFound(pointer=f"{cause.pointer}/lot")
    read = [line for line in lines.values() if line.counted is not None]
    # Whoever posts holds these locks: what is looked at now stays so until the causes are posted.
    lock_pools(line.material_id for line in read)
    _check_books(actor, read)
    told = _settle(lines, causes)
    posted = _post(actor, found, lines, told)
    end_sheet(actor, found, CountSheet.State.CLOSED, now)
    return Closed(found, posted)


def _check_read(rows: Sequence[CountLine], *, leave_unread: bool) -> None:
    unread = [line.lot.code for line in rows if line.counted is None]
    if unread and (not leave_unread or len(unread) == len(rows)):
        raise NotCounted(codes=", ".join(unread[:20]))
    once = [line.lot.code for line in rows if line.outside and line.readings < 2]
    if once:
        raise RecountNeeded(codes=", ".join(once[:20]))


def _check_books(actor: Actor, lines: Sequence[CountLine]) -> None:
    """The books of each reading's moment are as they were when it was judged."""
    wanted = [(line.lot_id, line.counted_at) for line in lines if line.counted_at is not None]
    books = book_at(actor, wanted)
    for line in lines:
        book, counted_since = books[line.lot_id]
        if book != line.book or counted_since:
            raise CountOvertaken(code=line.lot.code, lot=str(line.lot_id), book=f"{book:f}")


def _settle(lines: Mapping[UUID, CountLine], causes: Sequence[Explained]) -> list[Explained]:
    """The causes with their signed quantities, which sum to each line's difference."""
    by_lot: dict[UUID, list[Explained]] = defaultdict(list)
    for cause in causes:
        by_lot[cause.lot].append(cause)
    told = []
    for lot, line in lines.items():
        if line.counted is None:
            continue
        difference = line.difference or ZERO
        own = [_signed(cause, difference) for cause in by_lot[lot]]
        given = sum((cause.quantity or ZERO for cause in own), ZERO)
        open_ones = [place for place, cause in enumerate(own) if cause.quantity is None]
        if len(open_ones) > 1:
            raise Invalid(
                "Only one cause of a lot may be the rest; give the others a quantity.",
                pointer=f"{own[open_ones[1]].pointer}/quantity",
            )
        for place in open_ones:
            own[place] = replace(own[place], quantity=difference - given)
            given = difference
        if given != difference and (own or line.outside):
            raise DifferenceUnexplained(
                pointer=own[0].pointer if own else "",
                code=line.lot.code,
                difference=f"{difference.normalize():f}",
                unit=kept_in(line.lot.material.counted),
                explained=f"{given.normalize():f}",
            )
        for cause in own:
            _check_direction(cause)
        told += own
    return told


def _signed(cause: Explained, difference: Decimal) -> Explained:
    if cause.quantity is None or cause.signed:
        return cause
    gone = difference < 0 if cause.cause == MISBOOKED else cause.cause != FOUND
    return replace(cause, quantity=-cause.quantity if gone else cause.quantity)


def _check_direction(cause: Explained) -> None:
    quantity = cause.quantity or ZERO
    fits = quantity != 0 and (cause.cause == MISBOOKED or (quantity > 0) == (cause.cause == FOUND))
    if not fits:
        raise Invalid(
            Sentence(
                "{quantity:f} is left for this cause, which cannot be: what is gone was"
                " misbooked, spilt, evaporated or shrunk, and what is too much was misbooked or"
                " found.",
                quantity=quantity.normalize(),
            ),
            pointer=f"{cause.pointer}/cause",
        )


def _post(
    actor: Actor,
    sheet: CountSheet,
    lines: Mapping[UUID, CountLine],
    told: Sequence[Explained],
) -> list[tuple[CountCause, Explained]]:
    """One entry for each moment, but one of its own for each misbooking, which names its batch."""
    _take_back_promises(actor, told)
    costs = _costs_of_found(actor, [lines[cause.lot] for cause in told])
    groups: dict[object, list[Explained]] = defaultdict(list)
    for place, cause in enumerate(told):
        alone = place if cause.account is not None else None
        groups[lines[cause.lot].counted_at, alone].append(cause)
    kept: list[tuple[CountCause, Explained]] = []
    for group in groups.values():
        kept += _post_group(actor, sheet, lines, group, costs)
    CountCause.objects.bulk_create(cause for cause, _ in kept)
    return kept


def _take_back_promises(actor: Actor, told: Sequence[Explained]) -> None:
    """What goes to a batch uses up the batch's own promise first."""
    batches = [cause.account for cause in told if cause.is_batch and cause.account]
    own = {
        (row.account_id, row.lot_id): row.quantity
        for row in Reservation.objects.filter(maker_id=actor.maker, account_id__in=batches)
    }
    lost: dict[UUID, Decimal] = defaultdict(Decimal)
    for cause in told:
        gone = -(cause.quantity or ZERO)
        if cause.is_batch and cause.account is not None:
            gone -= min(max(gone, ZERO), own.get((cause.account, cause.lot), ZERO))
        lost[cause.lot] += gone
    release_promises(actor, {lot: quantity for lot, quantity in lost.items() if quantity > 0})


def _post_group(
    actor: Actor,
    sheet: CountSheet,
    lines: Mapping[UUID, CountLine],
    group: Sequence[Explained],
    costs: Mapping[UUID, tuple[Decimal, Decimal]],
) -> list[tuple[CountCause, Explained]]:
    first = group[0]
    accounts = [
        cause.account or open_account(actor, Account.Kind.LOSS, cause.cause.value)
        for cause in group
    ]
    moves = [
        _move(actor, cause, account, costs) for cause, account in zip(group, accounts, strict=True)
    ]
    with _at_its_cause(group):
        posted = post_entry(
            actor,
            kind=Entry.Kind.COUNT,
            happened_at=lines[first.lot].moment,
            moves=moves,
            reason="; ".join(dict.fromkeys(cause.reason for cause in group))[:400],
            details={
                "count": str(sheet.id),
                **(first.details or {}),
                "lines": [
                    {"cause": cause.cause.value, "quantity": f"{cause.quantity:f}"}
                    for cause in group
                ],
            },
        )
    return [
        (
            CountCause(
                coop_id=actor.coop_id,
                maker_id=actor.maker,
                line=lines[cause.lot],
                cause=cause.cause,
                reason=cause.reason,
                entered=cause.entered,
                quantity=cause.quantity,
                value=value,
                account_id=account,
                entry_id=posted.entry_id,
            ),
            cause,
        )
        for cause, account, value in zip(group, accounts, posted.values, strict=True)
    ]


@contextmanager
def _at_its_cause(group: Sequence[Explained]) -> Iterator[None]:
    """Where there is not enough of a lot, that is about its cause, whichever comes first."""
    try:
        yield
    except NotEnough as refusal:
        of_lot = (cause for cause in group if str(cause.lot) == refusal.facts.get("lot"))
        refusal.at(next(of_lot, group[0]).pointer)
        raise


def _move(
    actor: Actor,
    cause: Explained,
    account: UUID,
    costs: Mapping[UUID, tuple[Decimal, Decimal]],
) -> Move:
    quantity, store = cause.quantity or ZERO, store_of(actor)
    if quantity < 0:
        return Move(store, account, cause.lot, -quantity)
    if cause.is_batch:
        # It leaves the batch at its share of what the batch was charged with.
        return Move(account, store, cause.lot, quantity)
    whole, value = costs.get(cause.lot, (ZERO, ZERO))
    cost = unit_cost(value, whole, per=quantity) if whole > 0 else ZERO
    return Move(account, store, cause.lot, quantity, cost)


def _costs_of_found(
    actor: Actor, lines: Sequence[CountLine]
) -> dict[UUID, tuple[Decimal, Decimal]]:
    lots = {line.lot_id: line.material_id for line in lines}
    with connection.cursor() as cursor:
        cursor.execute(
            _COSTED,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "store": store_of(actor),
                "lots": list(lots),
                "materials": list(lots.values()),
            },
        )
        return {lot: (quantity, value) for lot, quantity, value in cursor.fetchall()}
