"""When a lot was opened, and by when it is to be used since then."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, Id, Moment, Text
from ledger.access import Actor, lot_for
from ledger.models import LotOpening
from ledger.opened_lots import openings_of, say_opened


class LotOpeningIn(Body):
    opened_on = serializers.DateField(
        allow_null=True, help_text="Null puts right that it is not open after all."
    )
    reason = Text(
        max_length=400,
        required=False,
        help_text="Why, if an opening is kept already, or if some was drawn before that day, as"
        " where another container of the lot is opened: nothing is rewritten, the latest stands.",
    )


class OpeningOut(serializers.Serializer[Any]):
    id = Id()
    lot = Id()
    opened_on = serializers.DateField(allow_null=True)
    use_within_days = serializers.IntegerField(
        allow_null=True,
        help_text="As its material said when it was opened, or as soon as it said any.",
    )
    use_by = serializers.DateField(allow_null=True, help_text="The last day of use.")
    reason = Text(allow_blank=True)
    entry = Id(
        allow_null=True,
        help_text="The draw that told of it, or with which some of the lot came.",
    )
    person = Id(
        allow_null=True,
        help_text="Null where nobody said it: the lot was open when its material came by its days.",
    )
    recorded_at = Moment()


def opening_json(row: LotOpening) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "lot": str(row.lot_id),
        "opened_on": row.opened_on,
        "use_within_days": row.use_within_days,
        "use_by": row.use_by,
        "reason": row.reason,
        "entry": row.entry_id and str(row.entry_id),
        "person": row.person_id and str(row.person_id),
        "recorded_at": row.recorded_at,
    }


class Openings(Resource):
    """When the maker opened a lot."""

    @reads(Paged, page_of(OpeningOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List what was said of a lot's opening, the latest first: it stands."""
        return page(self.request, query, openings_of(actor, lot_for(actor, id)), opening_json)

    @writes(LotOpeningIn, OpeningOut, examples=examples.OPENING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Say on which day a lot was opened, or put right what was said before."""
        return opening_json(say_opened(actor, lot=id, **data))
