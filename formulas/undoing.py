"""Undoing an entry by its reversal, with what formulas know of it."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Q

from formulas.access import locked_batch
from formulas.batches import must_be_planned
from formulas.models import Batch, Filling, Making, Weighing
from formulas.repromising import promise_again
from ledger.access import Actor, find
from ledger.entries import Posted, lock_pools, reverse_entry
from ledger.errors import Invalid, NotFound
from ledger.models import Custody, Entry, Posting
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class Undone:
    """An entry that was reversed, the reversal, and the batch that changed with it."""

    original: Entry
    posted: Posted
    batch: Batch | None


def undo(
    actor: Actor,
    *,
    entry: UUID | str,
    reason: str,
    happened_at: datetime,
    of_batch: UUID | None = None,
) -> Undone:
    """Take back an entry of any kind by a reversal that says why.

    A finish makes its batch planned again, with all that was weighed; its samples are taken back
    with it. A cancelled batch becomes planned again with what had been weighed. A weighing stops
    counting. What comes back to the store is promised to the batch again, as far as it needs it.
    With `of_batch` an entry of anything else is not there.

    Raises Forbidden, NotFound, Invalid for no reason, AlreadyReversed, Conflict for a reversal,
    UsedSince naming what stands in the way, AlreadyFinished for a weighing back into a batch that
    is no longer planned.
    """
    actor.must(Verb.REVERSE)
    if not reason.strip():
        raise Invalid("Say why the entry is reversed.", pointer="/reason")
    found = find(Entry.objects.filter(maker_id=actor.maker), entry)
    batch = _batch_of(actor, found)
    if of_batch is not None and (batch is None or batch.id != of_batch):
        raise NotFound(pointer="/entry")
    if batch is not None and _needs_planned(found, batch):
        must_be_planned(batch)
    for samples in _samples_of(found):
        _lock_all(actor, [found.id, samples])
        reverse_entry(actor, entry=samples, reason=reason, happened_at=happened_at)
    original, posted = reverse_entry(actor, entry=found.id, reason=reason, happened_at=happened_at)
    if batch is not None and found.id in (batch.cancel_entry_id, _finish_of(batch)):
        batch.state, batch.making, batch.cancel_entry = Batch.State.PLANNED, None, None
        batch.save(update_fields=["state", "making", "cancel_entry"])
    if batch is not None and batch.state == Batch.State.PLANNED:
        promise_again(actor, batch, [posted.entry_id])
    return Undone(original, posted, batch)


def _needs_planned(entry: Entry, batch: Batch) -> bool:
    """Whether undoing brings goods back into a batch, which must be at work for it."""
    of_part = entry.kind == Entry.Kind.SCRAP and entry.id != batch.cancel_entry_id
    return entry.kind == Entry.Kind.WEIGH_BACK or of_part


def _finish_of(batch: Batch) -> UUID | None:
    return batch.making.entry_id if batch.making else None


def _batch_of(actor: Actor, entry: Entry) -> Batch | None:
    """The batch that an entry belongs to, locked, or None for an entry of something else."""
    if entry.kind not in (
        Entry.Kind.DRAW,
        Entry.Kind.WEIGH_BACK,
        Entry.Kind.MAKE,
        Entry.Kind.CANCEL,
        Entry.Kind.COUNT,
        Entry.Kind.SCRAP,
    ):
        return None
    weighed = Weighing.objects.filter(entry=entry).values("batch_id")
    made = Making.objects.filter(entry=entry).values("batch_id")
    # A part of a batch that was scrapped leaves nothing but its entry, which names the batch.
    scrapped = {entry.details["batch"]} if entry.kind == Entry.Kind.SCRAP else set()
    rows = Batch.objects.filter(
        Q(id__in=weighed) | Q(id__in=made) | Q(id__in=scrapped) | Q(cancel_entry=entry),
        maker_id=actor.maker,
    )
    found = rows.first()
    return locked_batch(actor, found.id) if found else None


def _samples_of(entry: Entry) -> list[UUID]:
    """The samples that were issued with a finish or a fill, unless they were taken back already."""
    if entry.kind not in (Entry.Kind.MAKE, Entry.Kind.FILL):
        return []
    issued: list[UUID] = []
    for rows in (Making.objects, Filling.objects):
        issued += rows.filter(entry=entry, samples_entry__isnull=False).values_list(
            "samples_entry_id", flat=True
        )
    undone = Entry.objects.filter(reverses_id__in=issued).values_list("reverses_id", flat=True)
    return sorted(set(issued) - set(undone))


def _lock_all(actor: Actor, entries: list[UUID]) -> None:
    """Lock all that two reversals touch at once, so that the order of the locks stays sorted."""
    lots = Posting.objects.filter(
        coop_id=actor.coop_id, entry_id__in=entries, lot__isnull=False
    ).values("lot_id")
    lock_pools(
        Custody.objects.filter(
            coop_id=actor.coop_id, maker_id=actor.maker, lot_id__in=lots
        ).values_list("material_id", flat=True)
    )
