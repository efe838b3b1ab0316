"""Closing the books of a period."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import settlement_examples as examples
from api.rest.fields import Body, Id, Moment, Text
from ledger import closing
from ledger.access import Actor, day_of
from ledger.models import Closing


class BookClosingIn(Body):
    closed_on = serializers.DateField(help_text="The last day that is closed; it must be over.")
    note = Text(max_length=400, required=False)


class BookClosingOut(serializers.Serializer[Any]):
    id = Id()
    closed_on = serializers.DateField()
    note = Text(allow_blank=True)
    recorded_at = Moment()


def closing_json(row: Closing) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "closed_on": row.closed_on,
        "note": row.note,
        "recorded_at": row.recorded_at,
    }


class Closings(Resource):
    """Periods that are closed."""

    @reads(Paged, page_of(BookClosingOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List when the books were closed up to which day, the latest first."""
        return page(self.request, query, closing.closings_of(actor), closing_json)

    @writes(BookClosingIn, BookClosingOut, examples=examples.CLOSED_BOOKS)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Close the books up to a day, for good; what comes later to light is a new entry."""
        made = closing.close_books(actor, today=day_of(actor, self.now), **data)
        return closing_json(made)
