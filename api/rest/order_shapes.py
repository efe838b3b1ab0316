"""What is sent and told of orders from suppliers."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.paging import Paged
from api.printing import PrintQuery
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    Id,
    Moment,
    QuantityField,
    Shown,
    Text,
    Whole,
    listed,
    plain,
)
from api.rest.stock import amount
from api.rest.variances import VarianceOut, variance_json
from ledger.access import Actor
from ledger.models import PurchaseOrderFact, ReceiptLine
from ledger.money import round_money
from ledger.order_matching import Against
from ledger.order_reading import Arrival, LineTold, OrderTold, over
from ledger.quantities import kept_in
from ledger.roles import Verb

KINDS = ["written", "sending", "sent", "received", "corrected", "ended"]


class PurchaseOrderLineIn(Body):
    material = Id()
    packs = Whole(min_value=1, max_value=1_000_000, required=False, help_text="1 if left out.")
    pack = QuantityField(help_text="What one pack holds.")
    price = DecimalText(least="0", help_text="Agreed for all packs of the line.")
    expected_on = serializers.DateField(required=False, allow_null=True)


class PurchaseOrderIn(Body):
    supplier = Id()
    happened_at = Moment(required=False, help_text="When it was written; now, if left out.")
    note = Text(max_length=400, required=False, help_text="Printed on the order.")
    lines = listed(PurchaseOrderLineIn, least=1, most=200)


class OrderCorrectionIn(Body):
    order_line = Id()
    packs = Whole(min_value=1, max_value=1_000_000, required=False)
    pack = QuantityField(required=False)
    price = DecimalText(least="0", required=False, help_text="Needed with packs or pack.")
    expected_on = serializers.DateField(
        required=False, allow_null=True, help_text="null: no day is known any more."
    )
    reason = Text(max_length=400)
    happened_at = Moment(required=False, help_text="Now, if left out.")


class OrderEndingIn(Body):
    order_line = Id(required=False, allow_null=True, help_text="Left out: the whole order.")
    reason = Text(max_length=400)
    happened_at = Moment(required=False, help_text="Now, if left out.")


class OrderSendingIn(Body):
    note = Text(max_length=400, required=False, help_text="To the supplier, in the mail.")


class OrderSheetQuery(PrintQuery):
    format = Choice(["html", "pdf", "csv"], required=False, help_text="html if left out.")


class PurchaseOrderQuery(Paged):
    state = Choice(
        ["open", "closed", "late"],
        required=False,
        help_text="late: something of it is still to come after the day it was expected on.",
    )
    supplier = serializers.UUIDField(required=False)
    material = serializers.UUIDField(required=False)


class ArrivalOut(serializers.Serializer[Any]):
    receipt = Id()
    lot = Id()
    lot_code = Text()
    happened_at = Moment()
    quantity = Shown()
    goods = Shown(allow_null=True, help_text="Price less discount.")
    price_variance = VarianceOut(allow_null=True)


class PurchaseOrderLineOut(serializers.Serializer[Any]):
    id = Id()
    material = Id()
    material_name = Text()
    unit = serializers.ChoiceField(["g", "each"])
    packs = serializers.IntegerField()
    pack = Text()
    ordered = Shown(help_text="All packs, as last corrected.")
    received = Shown(help_text="In deliveries that stand.")
    open = Shown(help_text="Still to come: counted as on order.")
    over = Shown(help_text="Came beyond what was ordered.")
    price = Shown(allow_null=True, help_text="Of all packs; null for who may not see prices.")
    expected_on = serializers.DateField(allow_null=True)
    ended = serializers.BooleanField(help_text="Nothing more of it is expected.")
    late = serializers.BooleanField()
    price_variance = VarianceOut(
        allow_null=True,
        help_text="(Price paid - price agreed) x what came; null until something has.",
    )
    arrivals = ArrivalOut(many=True)


class NotOrderedOut(serializers.Serializer[Any]):
    """What came with a delivery of the order without having been ordered."""

    receipt = Id()
    lot = Id()
    lot_code = Text()
    material = Id()
    material_name = Text()
    quantity = Shown()


class AgainstOut(serializers.Serializer[Any]):
    """The line of an order that goods came for, as it stands now."""

    order = Id()
    number = Text()
    order_line = Id()
    ordered = Shown()
    received = Shown(help_text="In all deliveries that stand.")
    open = Shown()
    over = Shown()
    price_variance = VarianceOut(
        allow_null=True, help_text="Of these goods; null for who may not see prices."
    )


class PurchaseOrderFactOut(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(
        KINDS, help_text="sending: asked to mail it; sent: the mail was handed over."
    )
    happened_at = Moment()
    order_line = Id(allow_null=True, help_text="null: of the whole order.")
    packs = serializers.IntegerField(allow_null=True)
    pack = Text(allow_null=True)
    quantity = Shown(allow_null=True, help_text="As corrected, or as received.")
    price = Shown(allow_null=True)
    expected_on = serializers.DateField(allow_null=True)
    address = Text(allow_null=True)
    receipt = Id(allow_null=True)
    reason = Text(allow_blank=True)
    person = Id(allow_null=True, help_text="null for a delivery, whose entry tells it.")


class PurchaseOrderOut(serializers.Serializer[Any]):
    id = Id()
    number = Text(help_text="To say on the phone.")
    supplier = Id()
    supplier_name = Text()
    written_at = Moment()
    note = Text(allow_blank=True)
    state = serializers.ChoiceField(["open", "closed"], help_text="closed: nothing is to come.")
    late = serializers.BooleanField()
    total = Shown(allow_null=True)
    lines = PurchaseOrderLineOut(many=True)
    not_ordered = NotOrderedOut(many=True)
    facts = PurchaseOrderFactOut(many=True, help_text="By the moment when they took place.")
    person = Id()
    recorded_at = Moment()


def order_json(told: OrderTold, actor: Actor, today: date) -> dict[str, Any]:
    row, priced = told.order, actor.may(Verb.SEE_COSTS)
    return {
        "id": str(row.id),
        "number": row.number,
        "supplier": str(row.supplier_id),
        "supplier_name": row.supplier.name,
        "written_at": row.written_at,
        "note": row.note,
        "state": "open" if told.open else "closed",
        "late": any(line.late(today) for line in told.lines),
        "total": _money(told.total, actor) if priced else None,
        "lines": [_line_json(line, actor, today) for line in told.lines],
        "not_ordered": [_not_ordered_json(line) for line in told.not_ordered],
        "facts": _facts_json(told, actor),
        "person": str(row.person_id),
        "recorded_at": row.recorded_at,
    }


def _line_json(told: LineTold, actor: Actor, today: date) -> dict[str, Any]:
    line, standing, priced = told.line, told.standing, actor.may(Verb.SEE_COSTS)
    counted, variance = line.material.counted, told.variance
    return {
        "id": str(line.id),
        "material": str(line.material_id),
        "material_name": line.material.name,
        "unit": kept_in(counted),
        "packs": told.now.packs,
        "pack": told.now.entered,
        "ordered": amount(standing.ordered, counted),
        "received": amount(standing.received, counted),
        "open": amount(standing.quantity, counted),
        "over": amount(over(standing), counted),
        "price": _money(standing.price, actor) if priced else None,
        "expected_on": standing.expected_on,
        "ended": standing.ended,
        "late": told.late(today),
        "price_variance": variance_json(variance) if priced and variance is not None else None,
        "arrivals": [_arrival_json(one, counted, actor) for one in told.arrivals],
    }


def _arrival_json(arrival: Arrival, counted: bool, actor: Actor) -> dict[str, Any]:
    line, priced = arrival.line, actor.may(Verb.SEE_COSTS)
    return {
        "receipt": str(line.receipt_id),
        "lot": str(line.lot_id),
        "lot_code": line.lot.code,
        "happened_at": line.receipt.happened_at,
        "quantity": amount(line.quantity, counted),
        "goods": _money(line.goods, actor) if priced else None,
        "price_variance": variance_json(arrival.variance) if priced else None,
    }


def _not_ordered_json(line: ReceiptLine) -> dict[str, Any]:
    material = line.lot.material
    return {
        "receipt": str(line.receipt_id),
        "lot": str(line.lot_id),
        "lot_code": line.lot.code,
        "material": str(material.id),
        "material_name": material.name,
        "quantity": amount(line.quantity, material.counted),
    }


def against_json(found: Against | None, counted: bool, actor: Actor) -> dict[str, Any] | None:
    """How the line of an order stands that goods came for."""
    if found is None:
        return None
    line, standing = found.line, found.standing
    return {
        "order": str(line.order_id),
        "number": line.order.number,
        "order_line": str(line.id),
        "ordered": amount(standing.ordered, counted),
        "received": amount(standing.received, counted),
        "open": amount(standing.quantity, counted),
        "over": amount(over(standing), counted),
        "price_variance": variance_json(found.variance) if actor.may(Verb.SEE_COSTS) else None,
    }


def _facts_json(told: OrderTold, actor: Actor) -> list[dict[str, Any]]:
    """What was written, what was told later, and what came, by when it took place."""
    row = told.order
    counted = {line.line.id: line.line.material.counted for line in told.lines}
    facts = [_fact(row.written_at, "written", person=row.person_id)]
    facts += [_later(fact, counted, actor) for fact in told.facts]
    facts += [
        _fact(
            one.line.receipt.happened_at,
            "received",
            order_line=str(line.line.id),
            quantity=amount(one.line.quantity, counted[line.line.id]),
            receipt=str(one.line.receipt_id),
        )
        for line in told.lines
        for one in line.arrivals
    ]
    return sorted(facts, key=lambda fact: fact["happened_at"])


def _later(row: PurchaseOrderFact, counted: dict[Any, bool], actor: Actor) -> dict[str, Any]:
    told: dict[str, Any] = {"reason": row.reason, "address": row.address or None}
    if row.line_id is not None:
        told["order_line"] = str(row.line_id)
    if row.line_id is not None and row.quantity is not None and row.price is not None:
        told |= {
            "packs": row.packs,
            "pack": row.entered,
            "quantity": amount(row.quantity, counted[row.line_id]),
            "price": _money(row.price, actor) if actor.may(Verb.SEE_COSTS) else None,
            "expected_on": row.expected_on,
        }
    return _fact(row.happened_at, row.kind, person=row.person_id, **told)


def _fact(
    happened_at: datetime, kind: str, *, person: int | None = None, **told: Any
) -> dict[str, Any]:
    """A fact with all that may be told of one; what is not is null."""
    silent = ("order_line", "packs", "pack", "quantity", "price", "expected_on", "address")
    return {
        "kind": kind,
        "happened_at": happened_at,
        **dict.fromkeys((*silent, "receipt")),
        "reason": "",
        "person": None if person is None else str(person),
        **told,
    }


def _money(value: Decimal, actor: Actor) -> str | None:
    return plain(round_money(value, actor.currency))
