"""Lots: what is there, and what is decided about it."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from rest_framework import serializers

from api import etags
from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, cursor_at, links, page, page_of, start_of
from api.rest import examples
from api.rest.catalogue import DensityOut
from api.rest.explained import Explain, figure_json
from api.rest.fields import Body, Choice, DensityIn, Id, Moment, Shown, Text
from api.rest.receipts import UnitCost
from api.rest.stock import amount
from formulas.explaining import explain_lot
from ledger import lot_reading, lots, stopping
from ledger.access import Actor, lot_for
from ledger.models import Decision

STATUSES = ["quarantine", "released", "rejected", "hold"]


class OnHand(serializers.Serializer[Any]):
    grams = Shown(required=False)
    count = Shown(required=False)


class LotOut(serializers.Serializer[Any]):
    id = Id()
    code = Text()
    material = Id()
    material_name = Text()
    supplier = Id(allow_null=True)
    supplier_lot = Text(allow_blank=True)
    status = serializers.ChoiceField(STATUSES)
    place = Id(allow_null=True, help_text="Where it was put last.")
    place_name = Text(allow_blank=True)
    out_of_place = serializers.BooleanField(
        help_text="It lies where lots of another status are kept, or where nothing should."
    )
    arrived_on = serializers.DateField()
    expires_on = serializers.DateField(allow_null=True)
    retest_on = serializers.DateField(allow_null=True)
    opened_on = serializers.DateField(allow_null=True, help_text="By the maker, if it is open.")
    use_by = serializers.DateField(
        allow_null=True,
        help_text="By the use_within_days of its material when it was opened, or as soon as it said"
        " any.",
    )
    dates_note = Text(allow_blank=True)
    version = serializers.IntegerField()
    density = DensityOut(allow_null=True)
    on_hand = OnHand()
    value = Shown(allow_null=True, help_text="Null for who may not see costs.")
    unit_cost = UnitCost(allow_null=True)
    document_count = serializers.IntegerField(help_text="Files that are kept with it.")
    working = serializers.DictField(required=False, help_text="With explain=1.")


class LotQuery(Paged):
    material = serializers.UUIDField(required=False)
    status = Choice(STATUSES, required=False)
    place = serializers.UUIDField(required=False, help_text="Those in store that lie there.")
    code = Text(max_length=16, required=False)
    expires_before = serializers.DateField(
        required=False, help_text="May not be used from this day on."
    )
    in_stock = serializers.BooleanField(required=False, allow_null=True, default=None)
    out_of_place = serializers.BooleanField(required=False, allow_null=True, default=None)


class LotChange(Body):
    density = DensityIn()


class DecisionIn(Body):
    decision = Choice(list(lots.BECOMES))
    basis = Text(max_length=400, help_text='Such as "certificate agrees with specification".')
    retest_on = serializers.DateField(
        required=False, allow_null=True, help_text="The next retest date, with a release."
    )
    documents = serializers.ListField(
        child=Id(),
        required=False,
        max_length=20,
        help_text="Documents of the lot that it rests on. A release on a certificate of analysis"
        " asks for a known supplier and a specification.",
    )


class AffectedOut(serializers.Serializer[Any]):
    lot = Id()
    code = Text()
    material = Id()
    material_name = Text()
    status = serializers.ChoiceField(STATUSES)
    on_hand = OnHand()
    in_process = serializers.ListField(child=Text(), help_text="Batches that have some of it.")
    held_for_it = serializers.BooleanField(
        help_text="On hold because of this lot; releasing the lot does not release it."
    )
    decision = Id(allow_null=True, help_text="The decision that put it on hold just now.")


class DecisionOut(serializers.Serializer[Any]):
    id = Id()
    lot = Id()
    decision = serializers.ChoiceField(list(lots.BECOMES))
    basis = Text()
    retest_on = serializers.DateField(allow_null=True)
    status = serializers.ChoiceField(STATUSES)
    cause = Id(allow_null=True, help_text="The decision about another lot that led to this one.")
    documents = serializers.ListField(child=Id(), help_text="Those that it rests on.")
    person = Id()
    decided_at = Moment()


class DecidedOut(DecisionOut):
    affected = AffectedOut(many=True, help_text="All that was made from the lot.")
    in_process = serializers.ListField(
        child=Text(), help_text="Batches that have some of the lot itself."
    )


class Lots(Resource):
    """The lots that the maker has or had."""

    @reads(LotQuery, page_of(LotOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List lots, newest first."""
        wanted = lot_reading.LotsWanted(
            **{name: query.get(name) for name in lot_reading.LotsWanted.__slots__}
        )
        start = start_of(self.request, query)
        found = lot_reading.list_lots(actor, wanted, after=start, limit=query["limit"])
        after = found.next_after
        cursor = cursor_at(self.request, str(after)) if after else None
        following = f'"{cursor}"' if cursor else "null"
        body = f'{{"results":{found.results},"next":{following}}}'
        return Sent(body, headers=links(self.request, cursor))


class OneLot(Resource):
    """One lot."""

    @reads(Explain, LotOut)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """Show a lot; with explain=1 the tree from its cost down to charges and batches."""
        sent = _lot(actor, id)
        if query.get("explain"):
            sent.body["working"] = figure_json(explain_lot(actor, id))
        return sent

    @writes(LotChange, LotOut, status=200, keyed=False, edits=True)
    def patch(self, actor: Actor, data: dict[str, Any], id: str) -> Sent:
        """Keep the density measured on this very lot (If-Match with its ETag)."""
        lot_for(actor, id)
        version = etags.expected_version(self.request, id)
        lots.measure_density(actor, lot=id, density=data["density"], version=version)
        return _lot(actor, id)


class Decisions(Resource):
    """What has been decided about a lot."""

    @reads(Paged, page_of(DecisionOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the decisions about a lot, the latest first."""
        return page(self.request, query, lots.decisions_of(actor, id), _kept_json)

    @writes(DecisionIn, DecidedOut, examples=examples.DECISION)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Release, reject, hold or quarantine a lot; what is stopped stops all made from it."""
        return decided_json(stopping.decide_through(actor, lot=id, **data))


def _lot(actor: Actor, id: str) -> Sent:
    found = lot_reading.show_lot(actor, id)
    return Sent(found, headers={"ETag": etags.etag(found["id"], found["version"])})


def _kept_json(row: Any) -> dict[str, Any]:
    return decision_json(row, row.rests_on)


def decision_json(row: Decision, documents: Sequence[UUID]) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "lot": str(row.lot_id),
        "decision": row.decision,
        "basis": row.basis,
        "retest_on": row.retest_on,
        "status": lots.BECOMES[row.decision].value,
        "cause": row.cause_id and str(row.cause_id),
        "documents": [str(id) for id in documents],
        "person": str(row.person_id),
        "decided_at": row.decided_at,
    }


def decided_json(decided: stopping.Decided) -> dict[str, Any]:
    return {
        **decision_json(decided.decision, decided.documents),
        "affected": [affected_json(one) for one in decided.affected],
        "in_process": list(decided.in_process),
    }


def affected_json(one: stopping.Affected) -> dict[str, Any]:
    return {
        "lot": str(one.id),
        "code": one.code,
        "material": str(one.material_id),
        "material_name": one.material_name,
        "status": one.status,
        "on_hand": {"count" if one.counted else "grams": amount(one.on_hand, one.counted)},
        "in_process": list(one.batches),
        "held_for_it": one.held_for_it,
        "decision": one.decision and str(one.decision),
    }
