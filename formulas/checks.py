"""Checks of a batch: its place and equipment before the start, and its approval at the end.

ISO 22716:2007 7.2 asks for a start-up check and that equipment is told, 7.3 that the filling line
is clear, 17 that a batch is approved by somebody who has not made it; from memory.
"""

from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from formulas.access import batch_for, standing
from formulas.models import Batch, BatchCheck, Weighing
from ledger.access import Actor
from ledger.entries import EXPLAINED, explained
from ledger.errors import Conflict, Invalid
from ledger.roles import Verb


def check_batch(
    actor: Actor,
    *,
    batch: UUID | str,
    kind: str,
    passed: bool,
    happened_at: datetime,
    now: datetime,
    subject: str = "",
    note: str = "",
) -> BatchCheck:
    """Keep what was looked at, and whether it was as it should be.

    Raises NotFound, Forbidden; Invalid for a failure without a note and a time to come; Conflict
    for an approval of a batch that is not finished, or by whoever weighed something of it.
    """
    actor.must(Verb.MAKE)
    found = batch_for(actor, batch)
    if not passed and not note.strip():
        raise _unexplained()
    if happened_at > now:
        raise Invalid("This moment lies in the future.", pointer="/happened_at")
    if kind == BatchCheck.Kind.APPROVAL:
        _may_approve(actor, found)
    row = BatchCheck(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        batch=found,
        kind=kind,
        subject=subject,
        passed=passed,
        note=note,
        happened_at=happened_at,
        person_id=actor.person_id,
    )
    with explained():
        row.save(force_insert=True)
    return row


def checks_of(actor: Actor, batch: UUID | str) -> "QuerySet[BatchCheck]":
    """The checks of a batch. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    return BatchCheck.objects.filter(maker_id=actor.maker, batch=batch_for(actor, batch))


def _may_approve(actor: Actor, batch: Batch) -> None:
    if batch.state != Batch.State.FINISHED:
        raise Conflict("A batch is approved when it is finished; finish it first.")
    if standing(Weighing.objects.filter(batch=batch, person_id=actor.person_id)).exists():
        raise _own()


def _own() -> Conflict:
    return Conflict("Whoever weighed something of a batch does not approve it; ask somebody else.")


def _unexplained() -> Invalid:
    return Invalid("Say in a note what was not as it should be.", pointer="/note")


EXPLAINED["batch_approved_by_another"] = lambda facts: _own()
EXPLAINED["failed_check_says_why"] = lambda facts: _unexplained()
