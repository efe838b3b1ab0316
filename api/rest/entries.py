"""The entries of the ledger, and undoing one by another."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, Choice, Id, Moment, Shown, Text, plain
from formulas import undoing
from ledger.access import Actor
from ledger.entry_reading import EntriesWanted, entries_of, entry_for
from ledger.models import Entry, Posting
from ledger.roles import Verb

KINDS = [kind.value for kind in Entry.Kind]


class ReversalIn(Body):
    reason = Text(max_length=400)
    happened_at = Moment(required=False)


class ReversalOut(serializers.Serializer[Any]):
    entry = Id()
    reverses = Id()


class EntryOut(serializers.Serializer[Any]):
    id = Id()
    kind = serializers.ChoiceField(KINDS)
    happened_at = Moment()
    recorded_at = Moment()
    person = Id()
    reason = Text(allow_blank=True)
    deviation = Text(allow_blank=True)
    details = serializers.DictField()
    reverses = Id(allow_null=True)
    reversed_by = Id(allow_null=True)


class PostingOut(serializers.Serializer[Any]):
    line = serializers.IntegerField()
    account = Id()
    account_kind = Text()
    account_name = Text()
    lot = Id(allow_null=True)
    quantity = Shown()
    value = Shown(allow_null=True)


class EntryFull(EntryOut):
    postings = PostingOut(many=True)


class EntryQuery(Paged):
    kind = Choice(KINDS, required=False)
    lot = serializers.UUIDField(required=False, help_text="Entries that moved this lot.")
    happened_from = serializers.DateField(required=False)
    happened_to = serializers.DateField(required=False)


def entry_json(row: Any) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "kind": row.kind,
        "happened_at": row.happened_at,
        "recorded_at": row.recorded_at,
        "person": str(row.person_id),
        "reason": row.reason,
        "deviation": row.deviation,
        "details": row.details,
        "reverses": row.reverses_id and str(row.reverses_id),
        "reversed_by": row.reversed_by and str(row.reversed_by),
    }


def posting_json(row: Posting, costs: bool) -> dict[str, Any]:
    return {
        "line": row.line,
        "account": str(row.account_id),
        "account_kind": row.account.kind,
        "account_name": row.account.name,
        "lot": row.lot_id and str(row.lot_id),
        "quantity": plain(row.quantity),
        "value": plain(row.value) if costs else None,
    }


class Entries(Resource):
    """The entries of the maker's books."""

    @reads(EntryQuery, page_of(EntryOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List entries, the latest heard of first."""
        wanted = EntriesWanted(**{name: query.get(name) for name in EntriesWanted.__slots__})
        rows = entries_of(actor, wanted)
        return page(self.request, query, rows, entry_json)


class OneEntry(Resource):
    """One entry."""

    @reads(None, EntryFull)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show an entry with its postings."""
        entry, postings = entry_for(actor, id)
        lines = [posting_json(row, actor.may(Verb.SEE_COSTS)) for row in postings]
        return {**entry_json(entry), "postings": lines}


class Reversals(Resource):
    """Undoing."""

    @writes(ReversalIn, ReversalOut, examples=examples.REVERSAL)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Take back exactly what an entry posted, by a new entry that says why."""
        undone = undoing.undo(
            actor,
            entry=id,
            reason=data["reason"],
            happened_at=data.get("happened_at", self.now),
        )
        return {"entry": str(undone.posted.entry_id), "reverses": str(undone.original.id)}
