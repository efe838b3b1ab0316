"""Places of lots: where they can lie, and where each was put."""

from typing import Any

from rest_framework import serializers

from api import etags
from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, Choice, Id, Moment, Text
from api.rest.lots import STATUSES
from ledger import places
from ledger.access import Actor
from ledger.models import Place, Placing

KEEPS = "What it is kept for alone; empty for lots of any status."


class PlaceIn(Body):
    name = Text(max_length=80, help_text="Such as: cold shelf.")
    keeps = Choice(["", *STATUSES], required=False, help_text=KEEPS)


class PlaceChange(Body):
    name = Text(max_length=80, required=False)
    keeps = Choice(["", *STATUSES], required=False, help_text=KEEPS)
    retired = serializers.BooleanField(
        required=False, help_text="Nothing is put there any more, and nothing lies there."
    )


class LotPlaceOut(serializers.Serializer[Any]):
    id = Id()
    name = Text()
    keeps = serializers.ChoiceField(["", *STATUSES], help_text=KEEPS)
    retired = serializers.BooleanField()
    lots = serializers.IntegerField(help_text="How many that are in store lie there.")
    version = serializers.IntegerField()


class PlaceQuery(Paged):
    retired = serializers.BooleanField(required=False, allow_null=True, default=None)


class PlacingIn(Body):
    place = Id(allow_null=True, help_text="null: out of the place that it has.")


class PlacingOut(serializers.Serializer[Any]):
    id = Id()
    lot = Id()
    place = Id(allow_null=True)
    place_name = Text(allow_blank=True)
    person = Id()
    placed_at = Moment()


class Places(Resource):
    """The maker's places."""

    @reads(PlaceQuery, page_of(LotPlaceOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List places, newest first."""
        rows = places.places_of(actor)
        if query.get("retired") is not None:
            rows = rows.filter(retired_at__isnull=not query["retired"])
        return page(self.request, query, rows, place_json)

    @writes(PlaceIn, LotPlaceOut, examples=examples.PLACE)
    def post(self, actor: Actor, data: dict[str, Any]) -> Sent:
        """Name a place, for lots of any status or of one alone."""
        return _place(places.add_place(actor, **data))


class OnePlace(Resource):
    """One place."""

    @reads(None, LotPlaceOut)
    def get(self, actor: Actor, id: str) -> Sent:
        """Show a place."""
        return _place(places.place_for(actor, id))

    @writes(
        PlaceChange,
        LotPlaceOut,
        status=200,
        keyed=False,
        edits=True,
        examples=examples.PLACE_CHANGE,
    )
    def patch(self, actor: Actor, data: dict[str, Any], id: str) -> Sent:
        """Rename a place, change what it keeps, or retire it (If-Match with its ETag)."""
        version = etags.expected_version(self.request, id)
        return _place(places.change_place(actor, place=id, version=version, now=self.now, **data))


class Placings(Resource):
    """Where a lot was put."""

    @reads(Paged, page_of(PlacingOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List where a lot was put, the latest first."""
        return page(self.request, query, places.placings_of(actor, id), placing_json)

    @writes(PlacingIn, PlacingOut, examples=examples.PLACING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Put a lot into a place that may keep it, or out of the one that it has."""
        return placing_json(places.put_lot(actor, lot=id, place=data["place"]))


def place_json(row: Any) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "name": row.name,
        "keeps": row.keeps,
        "retired": row.retired_at is not None,
        "lots": row.lots,
        "version": row.version,
    }


def placing_json(row: Placing) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "lot": str(row.lot_id),
        "place": row.place_id and str(row.place_id),
        "place_name": row.place.name if row.place else "",
        "person": str(row.person_id),
        "placed_at": row.placed_at,
    }


def _place(row: Place) -> Sent:
    return Sent(place_json(row), headers={"ETag": etags.etag(row.id, row.version)})
