"""Reading the ledger: its entries, and the postings of one."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import OuterRef, QuerySet, Subquery

from ledger.access import Actor, find
from ledger.models import Entry, Posting
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class EntriesWanted:
    """Which entries to list; empty means all."""

    kind: str | None = None
    lot: UUID | None = None
    happened_from: date | None = None
    happened_to: date | None = None


def entries_of(actor: Actor, wanted: EntriesWanted) -> "QuerySet[Entry]":
    """The entries of the maker's books. Raises Forbidden."""
    actor.must(Verb.READ)
    rows = _own(actor)
    if wanted.kind is not None:
        rows = rows.filter(kind=wanted.kind)
    if wanted.lot is not None:
        moved = Posting.objects.filter(coop_id=actor.coop_id, lot_id=wanted.lot)
        rows = rows.filter(id__in=moved.values("entry_id"))
    if wanted.happened_from is not None:
        rows = rows.filter(happened_on__gte=wanted.happened_from)
    if wanted.happened_to is not None:
        rows = rows.filter(happened_on__lte=wanted.happened_to)
    return rows


def entry_for(actor: Actor, id: UUID | str) -> tuple[Entry, list[Posting]]:
    """An entry with its postings in order of their lines. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    entry = find(_own(actor), id)
    whole = Posting.objects.select_related("account", "lot__material")
    postings = whole.filter(coop_id=actor.coop_id, entry=entry)
    return entry, list(postings.order_by("line"))


def _own(actor: Actor) -> "QuerySet[Entry]":
    """The maker's entries, each with the id of the one that reversed it, as `reversed_by`."""
    undoing = Entry.objects.filter(coop_id=OuterRef("coop_id"), reverses_id=OuterRef("id"))
    own = Entry.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker)
    return own.annotate(reversed_by=Subquery(undoing.values("id")[:1]))
