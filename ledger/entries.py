"""The only writer of postings: `post_entry` and `reverse_entry`.

An entry is told as moves, each so much of a lot from one account to another. PostgreSQL does the
rest in one call (ledger/sql/post_entry.sql): locks, cost layers, holdings, checks.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.utils import DatabaseError

from ledger.access import Actor, find
from ledger.errors import (
    AlreadyReversed,
    CertificateAlone,
    Conflict,
    DocumentThere,
    Invalid,
    NotAsOrdered,
    NotFound,
    QuantityTooLarge,
    Refusal,
    Sentence,
    Stale,
)
from ledger.explained_moves import BETWEEN_MAKERS
from ledger.explained_stock import OF_STOCK
from ledger.ids import account_id, new_id
from ledger.models import Account, Entry
from ledger.statements import run

POST: Final = """
select ledger_post_entry(%s, %s, %s, %s, %s, %s, %s::jsonb,
                         %s::uuid[], %s::uuid[], %s::uuid[], %s::numeric[], %s::numeric[])
"""
# Of many entries each with its own details and moves, whose arrays are told as texts.
POST_EACH: Final = """
select ledger_post_entry(e.id, %s, %s, %s, '', '', e.details::jsonb, e.sources::uuid[],
                         e.targets::uuid[], e.lots::uuid[], e.quantities::numeric[],
                         e.amounts::numeric[])
  from unnest(%s::uuid[], %s::text[], %s::text[], %s::text[], %s::text[], %s::text[], %s::text[])
    with ordinality e(id, details, sources, targets, lots, quantities, amounts, place)
 order by e.place
"""
# A sum that no column can keep (PostgreSQL: numeric_value_out_of_range).
NUMBER_TOO_LARGE: Final = "22003"
# Which of several figures it is, PostgreSQL does not say.
TOO_LARGE_TO_KEEP: Final = "One of these figures is larger than can be kept: look for a slip."


@dataclass(frozen=True, slots=True)
class Move:
    """`quantity` grams (or pieces) of a lot, worth `value`, from one account to another.

    Without a `value` the goods leave at what they cost where they lie; without a `lot_id` only
    value moves, and the quantity is zero.
    """

    from_id: UUID
    to_id: UUID
    lot_id: UUID | None
    quantity: Decimal
    value: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Posted:
    """An entry that stands, and the value that each of its moves carried."""

    entry_id: UUID
    values: list[Decimal] = field(default_factory=list)


def post_entry(
    actor: Actor,
    *,
    kind: Entry.Kind,
    happened_at: datetime,
    moves: Sequence[Move],
    reason: str = "",
    deviation: str = "",
    details: dict[str, Any] | None = None,
) -> Posted:
    """Post one event with all its moves, or refuse it whole.

    Raises NotEnough, LotNotReleased, LotExpired, LotOpenTooLong, Invalid (in the future, in a
    closed period).
    """
    entry_id = new_id()
    given = [
        entry_id,
        kind.value,
        happened_at,
        actor.person_id,
        reason,
        deviation,
        json.dumps(details or {}),
        _array(move.from_id for move in moves),
        _array(move.to_id for move in moves),
        _array(move.lot_id for move in moves),
        _array(move.quantity for move in moves),
        _array(move.value for move in moves),
    ]
    with explained():
        (values,) = run(POST, given).fetchone()
    return Posted(entry_id, values)


def post_each(
    actor: Actor,
    *,
    kind: Entry.Kind,
    happened_at: datetime,
    entries: Sequence[tuple[Sequence[Move], dict[str, Any]]],
) -> list[Posted]:
    """Post several events of one kind, each with its moves and details, or refuse all of them.

    Who posts them holds the locks on all their pools already: one entry takes its own in order,
    and several one after the other would not. Raises what `post_entry` raises.
    """
    ids = [new_id() for _ in entries]
    moved = [moves for moves, _ in entries]
    given: list[Any] = [
        *(kind.value, happened_at, actor.person_id, ids),
        [json.dumps(details) for _, details in entries],
        [_array(move.from_id for move in moves) for moves in moved],
        [_array(move.to_id for move in moves) for moves in moved],
        [_array(move.lot_id for move in moves) for moves in moved],
        [_array(move.quantity for move in moves) for moves in moved],
        [_array(move.value for move in moves) for moves in moved],
    ]
    with explained(), connection.cursor() as cursor:
        cursor.execute(POST_EACH, given)
        rows = cursor.fetchall()
    return [Posted(id, values) for id, (values,) in zip(ids, rows, strict=True)]


def _array(values: Iterable[UUID | Decimal | None]) -> str:
    """An array as PostgreSQL reads it. The adapter would look at each element several times."""
    return "{" + ",".join(["NULL" if value is None else str(value) for value in values]) + "}"


def reverse_entry(
    actor: Actor, *, entry: UUID | str, reason: str, happened_at: datetime
) -> tuple[Entry, Posted]:
    """Take back exactly what an entry posted, and say why. Returns the entry it undoes.

    Raises NotFound, AlreadyReversed, UsedSince (naming the entries that stand in the way) and
    Invalid for a reversal, which cannot itself be reversed.
    """
    original = find(Entry.objects.filter(maker_id=actor.maker), entry)
    if original.kind == Entry.Kind.REVERSAL:
        raise Conflict("A reversal is not reversed; post the event anew.")
    if original.kind == Entry.Kind.COST_FORMULA:
        raise Conflict("A change of cost formula works forward only; choose the formula anew.")
    if original.kind in (Entry.Kind.TRANSFER_OUT, Entry.Kind.TRANSFER_IN):
        raise Conflict("Neither maker takes back a move alone: offer the goods back instead.")
    if original.kind in (Entry.Kind.DEPOSIT, Entry.Kind.DEPOSIT_RETURN):
        raise Conflict("A deposit comes back, or is paid anew: enter that instead.")
    if original.kind in (Entry.Kind.PAYMENT, Entry.Kind.CLEARING):
        raise Conflict("This stands in several books: take the payment itself back.")
    if original.kind == Entry.Kind.SHARED_BILL:
        raise Conflict("This stands in the books of both: book the opposite bill, and share that.")
    if Entry.objects.filter(reverses=original).exists():
        raise AlreadyReversed
    entry_id = new_id()
    with explained(), connection.cursor() as cursor:
        cursor.execute(
            "select ledger_reverse_entry(%s, %s, %s, %s, %s)",
            [entry_id, original.id, happened_at, actor.person_id, reason],
        )
    return original, Posted(entry_id)


def lock_pools(materials: Iterable[UUID]) -> None:
    """Take the locks on the maker's stock of these materials, all at once and in their order.

    For whoever must look at what is there before posting; posting takes them by itself.
    """
    with connection.cursor() as cursor:
        cursor.execute("select ledger_lock_pools(%s::uuid[])", [sorted(set(materials))])


def account(actor: Actor, kind: Account.Kind, name: str = "") -> UUID:
    """The id of one of the maker's accounts; supplier and batch accounts are told apart by name."""
    return account_id(actor.maker, f"{kind.value}:{name}")


def open_account(actor: Actor, kind: Account.Kind, name: str, *, label: str = "") -> UUID:
    """The same, made if it is not there yet; `label` is what people read."""
    id = account(actor, kind, name)
    Account.objects.bulk_create(
        [
            Account(
                id=id,
                coop_id=actor.coop_id,
                maker_id=actor.maker,
                kind=kind,
                name=label or name,
            )
        ],
        ignore_conflicts=True,
    )
    return id


@contextmanager
def explained() -> Iterator[None]:
    """Turn the name of a constraint that refused into the error that says what to do."""
    try:
        yield
    except DatabaseError as error:
        refusal = refusal_of(error)
        if refusal is None:
            raise
        raise refusal from error


def refusal_of(error: DatabaseError) -> Refusal | None:
    """The refusal for a named constraint, or None for anything else."""
    if getattr(error.__cause__, "sqlstate", None) == NUMBER_TOO_LARGE:
        return QuantityTooLarge(TOO_LARGE_TO_KEEP)
    diagnosis = getattr(error.__cause__, "diag", None)
    name = getattr(diagnosis, "constraint_name", None)
    if name is None or name not in EXPLAINED:
        return None
    try:
        facts = json.loads(getattr(diagnosis, "message_detail", None) or "{}", parse_float=Decimal)
    except ValueError:
        facts = {}
    return EXPLAINED[name](facts)


EXPLAINED: dict[str, Callable[[dict[str, Any]], Refusal]] = {
    **OF_STOCK,
    "entry_reversed_once": lambda facts: AlreadyReversed(),
    "entry_not_in_future": lambda facts: Invalid(
        "This moment lies in the future; give the moment when it took place.",
        pointer="/happened_at",
    ),
    "reversal_after_its_entry": lambda facts: Invalid(
        "This moment lies before the entry that is undone; give a later moment.",
        pointer="/happened_at",
    ),
    "entry_period_open": lambda facts: Invalid(
        Sentence(
            "The books are closed up to {day}; give a later moment.",
            day=date.fromisoformat(facts["closed_on"]),
        ),
        pointer="/happened_at",
    ),
    **BETWEEN_MAKERS,
    "round_is_there": lambda facts: NotFound(),
    "round_open": lambda facts: Conflict(
        "This round is closed: what was pledged stands. Pledge in the next one."
    ),
    "round_order_placed_once": lambda facts: Conflict(
        "The orders of this round are written: find them among your orders."
    ),
    "pledge_of_shared_material": lambda facts: Invalid(
        "Only you know this material; nobody else offers it.", pointer="/material"
    ),
    "retest_has_record": lambda facts: Stale(
        "The lot was retested meanwhile: read it again, then give the date after that one."
    ),
    "opening_after_arrival": lambda facts: Invalid(
        "The lot came after this day: give the day on which you opened it.", pointer="/opened_on"
    ),
    "opening_of_weighed_lot": lambda facts: Invalid(
        "Each piece is opened by itself: the lot as a whole is never open.", pointer="/opened_on"
    ),
    "opening_not_in_future": lambda facts: Invalid(
        "This day lies in the future; give the day on which you opened it.", pointer="/opened_on"
    ),
    "opening_put_right_for_a_reason": lambda facts: Invalid(
        "Say why: another opening is kept, and this one puts it right.", pointer="/reason"
    ),
    "opening_after_draw_for_a_reason": lambda facts: Invalid(
        Sentence(
            "Say why: some of it was drawn on {drawn_on} already. If you go on with another"
            " container, say so.",
            drawn_on=date.fromisoformat(facts["drawn_on"]),
        ),
        pointer="/reason",
    ),
    "recall_open_once": lambda facts: Conflict(
        "This lot is being recalled already; go on with that recall, or close it first."
    ),
    "recall_still_open": lambda facts: Conflict(
        "This recall is closed; open another if more must be done."
    ),
    "answer_adds_up": lambda facts: Invalid(
        "More is on hold than is within reach, or more came back than was sold.",
        pointer="/corrected",
    ),
    "recall_closed_once": lambda facts: Conflict("This recall is closed already."),
    "recall_not_in_future": lambda facts: Invalid(
        "This moment lies in the future; give the moment when the recall began.",
        pointer="/happened_at",
    ),
    "recall_closed_not_in_future": lambda facts: Invalid(
        "This moment lies in the future; give the moment when the recall was done.",
        pointer="/happened_at",
    ),
    "order_not_in_future": lambda facts: Invalid(
        "This moment lies in the future; give the moment when the order was written.",
        pointer="/happened_at",
    ),
    "order_fact_not_in_future": lambda facts: Invalid(
        "This moment lies in the future; give the moment when it took place.",
        pointer="/happened_at",
    ),
    "receipt_is_as_ordered": lambda facts: NotAsOrdered(),
    "complaint_not_in_future": lambda facts: Invalid(
        "This day lies in the future; give the day of receipt.", pointer="/received_on"
    ),
    "complaint_serious_is_adverse": lambda facts: Invalid(
        "What is serious is an adverse event, too: say so.", pointer="/adverse"
    ),
    "complaint_fact_not_in_future": lambda facts: Invalid(
        "Give a day from that of the receipt to today.", pointer="/on"
    ),
    "document_once_per_lot": lambda facts: DocumentThere(),
    "certificate_has_specification": lambda facts: CertificateAlone(pointer="/documents"),
    "offer_once": lambda facts: Conflict(
        "This pack is offered already: add a price to that offer."
    ),
    "entry_of_own_accounts_and_lots": lambda facts: NotFound(),
}
