"""The log of complaints and adverse events, with the statutory clocks shown."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, Choice, Flag, Id, Moment, Text
from formulas import complaints
from formulas.adverse_clocks import CAUTION, Clock
from formulas.models import ComplaintFact
from ledger.access import Actor, day_of

KINDS = ComplaintFact.Kind.values


class ComplaintIn(Body):
    received_on = serializers.DateField(help_text="The day on which it reached you.")
    what_happened = Text(max_length=4000)
    adverse = Flag(default=False, help_text="It harmed somebody's health, or may have.")
    serious = Flag(default=False, help_text="As FD&C Act §604 or Art 2(1)(p) say; then adverse.")
    customer_reference = Text(max_length=120, required=False)
    batch_code = Text(max_length=80, required=False, help_text="What stands on the pack.")
    lot = Id(required=False, help_text="Left out: looked up by the batch code.")
    product = Id(required=False)


class ComplaintFactIn(Body):
    kind = Choice(KINDS, help_text="A fact after closed opens it again.")
    on = serializers.DateField()
    text = Text(max_length=4000)


class ComplaintLotOut(serializers.Serializer[Any]):
    id = Id()
    code = Text()
    material_name = Text()


class ComplaintNamedOut(serializers.Serializer[Any]):
    id = Id()
    name = Text()


class ComplaintBatchOut(serializers.Serializer[Any]):
    id = Id()
    code = Text()


class ClockOut(serializers.Serializer[Any]):
    name = Text()
    asks = Text()
    clause = Text()
    counted = Text(help_text="How the days are counted.")
    from_on = serializers.DateField()
    due_on = serializers.DateField()
    done_on = serializers.DateField(allow_null=True)


class ComplaintFactOut(serializers.Serializer[Any]):
    id = Id()
    kind = serializers.ChoiceField(KINDS)
    on = serializers.DateField()
    text = Text()
    person = Id()
    recorded_at = Moment()


class ComplaintOut(serializers.Serializer[Any]):
    id = Id()
    received_on = serializers.DateField()
    what_happened = Text()
    adverse = serializers.BooleanField(help_text="As known by now.")
    serious = serializers.BooleanField(help_text="As known by now.")
    customer_reference = Text(allow_blank=True)
    batch_code = Text(allow_blank=True)
    lot = ComplaintLotOut(allow_null=True, help_text="null: no lot of that code was found.")
    batch = ComplaintBatchOut(allow_null=True)
    product = ComplaintNamedOut(allow_null=True)
    state = serializers.ChoiceField(["open", "closed"])
    closed_on = serializers.DateField(allow_null=True)
    facts = ComplaintFactOut(many=True)
    clocks = ClockOut(many=True, help_text="Shown, never decided.")
    caution = Text()
    person = Id()
    recorded_at = Moment()


class ComplaintQuery(Paged):
    lot = serializers.UUIDField(required=False)
    product = serializers.UUIDField(required=False)
    adverse = serializers.BooleanField(required=False, allow_null=True, default=None)
    serious = serializers.BooleanField(required=False, allow_null=True, default=None)
    state = Choice(["open", "closed"], required=False)


def fact_json(row: ComplaintFact) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "kind": row.kind,
        "on": row.learned_on,
        "text": row.text,
        "person": str(row.person_id),
        "recorded_at": row.recorded_at,
    }


def clock_json(clock: Clock) -> dict[str, Any]:
    return {name: getattr(clock, name) for name in Clock.__slots__}


def complaint_json(found: complaints.Told) -> dict[str, Any]:
    row = found.complaint
    lot, product, batch = row.lot, row.product, found.batch
    return {
        "id": str(row.id),
        "received_on": row.received_on,
        "what_happened": row.what_happened,
        "adverse": found.adverse,
        "serious": found.serious,
        "customer_reference": row.customer,
        "batch_code": row.batch_code,
        "lot": lot and {"id": str(lot.id), "code": lot.code, "material_name": lot.material.name},
        "batch": batch and {"id": str(batch.id), "code": batch.code},
        "product": product and {"id": str(product.id), "name": product.name},
        "state": "open" if found.closed_on is None else "closed",
        "closed_on": found.closed_on,
        "facts": [fact_json(fact) for fact in found.facts],
        "clocks": [clock_json(clock) for clock in found.clocks],
        "caution": CAUTION,
        "person": str(row.person_id),
        "recorded_at": row.recorded_at,
    }


def _one(actor: Actor, id: Any) -> dict[str, Any]:
    (found,) = complaints.told(actor, [complaints.complaint_for(actor, id)])
    return complaint_json(found)


class Complaints(Resource):
    """Complaints and adverse events."""

    @reads(ComplaintQuery, page_of(ComplaintOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List complaints with their facts and clocks, newest first."""
        wanted = complaints.ComplaintsWanted(
            **{name: query.get(name) for name in complaints.ComplaintsWanted.__slots__}
        )
        found = page(self.request, query, complaints.complaints_of(actor, wanted), lambda row: row)
        rows = complaints.told(actor, found.body["results"])
        found.body["results"] = [complaint_json(row) for row in rows]
        return found

    @writes(ComplaintIn, ComplaintOut, examples=examples.COMPLAINT)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Keep a complaint as it was received, linked to its batch by what stands on the pack."""
        customer = data.pop("customer_reference", "")
        today = day_of(actor, self.now)
        made = complaints.log_complaint(actor, customer=customer, today=today, **data)
        return _one(actor, made.id)


class OneComplaint(Resource):
    """One complaint."""

    @reads(None, ComplaintOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a complaint, what became known of it, and by when which text asks for what."""
        return _one(actor, id)


class ComplaintFacts(Resource):
    """What became known of a complaint, and what was done."""

    @writes(ComplaintFactIn, ComplaintOut, examples=examples.COMPLAINT_FACT)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Keep what became known or was done, on its day; closing is a fact like others."""
        today = day_of(actor, self.now)
        complaints.add_fact(actor, complaint=id, today=today, **data)
        return _one(actor, id)
