"""Deliveries from suppliers."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    DensityIn,
    Id,
    Moment,
    QuantityField,
    Shown,
    Text,
    listed,
    plain,
)
from api.rest.order_shapes import AgainstOut, against_json
from ledger import receiving
from ledger.access import Actor
from ledger.costing import GRAMS_PER_KG, Charge, ChargeKind, SpreadBy, unit_cost
from ledger.models import Receipt, ReceiptLine
from ledger.money import round_money
from ledger.quantities import priced_per


class ReceiptLineIn(Body):
    material = Id()
    supplier_lot = Text(max_length=80)
    quantity = QuantityField()
    price = DecimalText(least="0", help_text="The line's total.")
    discount = DecimalText(least="0", required=False, help_text="Off the line's total.")
    expires_on = serializers.DateField(required=False, allow_null=True)
    retest_on = serializers.DateField(required=False, allow_null=True)
    density = DensityIn(required=False, allow_null=True)
    order_line = Id(
        required=False, allow_null=True, help_text="What it was ordered by; null: not ordered."
    )
    place = Id(required=False, allow_null=True, help_text="Where it is put at once.")


class ChargeIn(Body):
    kind = Choice([kind.value for kind in ChargeKind], help_text="tax is tax that is not recovered")
    amount = DecimalText(least="0")
    spread_by = Choice([way.value for way in SpreadBy])


class ReleaseIn(Body):
    basis = Text(max_length=400, help_text='Such as "certificate agrees with specification".')


class ReceiptIn(Body):
    supplier = Id()
    order = Id(
        required=False, allow_null=True, help_text="Left out where several orders came at once."
    )
    happened_at = Moment(required=False, help_text="When it arrived; now, if left out.")
    reference = Text(max_length=80, required=False, help_text="The delivery note's number.")
    condition = Text(
        max_length=200, required=False, help_text="How it arrived: sealed, dented, warm."
    )
    lines = listed(ReceiptLineIn, least=1, most=200)
    charges = listed(ChargeIn, most=20, required=False)
    release = ReleaseIn(required=False, allow_null=True)


class LotBrief(serializers.Serializer[Any]):
    id = Id()
    code = Text()
    status = serializers.ChoiceField(["quarantine", "released", "rejected", "hold"])


class QuantityOut(serializers.Serializer[Any]):
    entered = Text()
    grams = Shown(required=False)
    count = Shown(required=False)


class UnitCost(serializers.Serializer[Any]):
    amount = Shown()
    per = serializers.ChoiceField(["kg", "each"])


class ReceiptLineOut(serializers.Serializer[Any]):
    lot = LotBrief()
    material = Id()
    quantity = QuantityOut()
    goods = Shown()
    charges = Shown()
    landed_cost = Shown()
    unit_cost = UnitCost()
    against = AgainstOut(allow_null=True, help_text="null: not ordered.")


class ReceiptOut(serializers.Serializer[Any]):
    id = Id()
    entry = Id()
    supplier = Id()
    order = Id(allow_null=True)
    reference = Text(allow_blank=True)
    condition = Text(allow_blank=True)
    happened_at = Moment()
    total = Shown()
    lines = ReceiptLineOut(many=True)


class ReceiptBrief(serializers.Serializer[Any]):
    id = Id()
    entry = Id()
    supplier = Id()
    order = Id(allow_null=True)
    reference = Text(allow_blank=True)
    condition = Text(allow_blank=True)
    happened_at = Moment()
    total = Shown()


class ShareOut(serializers.Serializer[Any]):
    charge = serializers.IntegerField(help_text="Its place among the charges, from 0.")
    amount = Shown()


class KeptLineOut(ReceiptLineOut):
    density = Shown(allow_null=True, help_text="g/mL, where a volume was received.")
    density_of = Text(allow_blank=True, help_text="lot or material")
    shares = ShareOut(many=True)


class ChargeOut(serializers.Serializer[Any]):
    kind = Text()
    amount = Shown()
    spread_by = Text()


class KeptOut(ReceiptBrief):
    lines = KeptLineOut(many=True)
    charges = ChargeOut(many=True)


class ReceiptQuery(Paged):
    supplier = serializers.UUIDField(required=False)


def brief_json(receipt: Receipt, currency: str) -> dict[str, Any]:
    return {
        "id": str(receipt.id),
        "entry": str(receipt.entry_id),
        "supplier": str(receipt.supplier_id),
        "order": None if receipt.order_id is None else str(receipt.order_id),
        "reference": receipt.reference,
        "condition": receipt.condition,
        "happened_at": receipt.happened_at,
        "total": plain(round_money(receipt.total, currency)),
    }


def receipt_json(received: receiving.Received, actor: Actor) -> dict[str, Any]:
    currency = actor.currency
    status = "released" if received.released else "quarantine"
    lines = [
        {
            "lot": {"id": str(lot.id), "code": lot.code, "status": status},
            "material": str(lot.material_id),
            "quantity": quantity_json(amount.entered, amount.quantity, amount.counted),
            "goods": plain(round_money(cost.goods, currency)),
            "charges": plain(round_money(cost.charges, currency)),
            "landed_cost": plain(round_money(cost.landed_cost, currency)),
            "unit_cost": {
                "amount": plain(cost.unit_cost),
                "per": priced_per(amount.counted),
            },
            "against": against_json(stands, amount.counted, actor),
        }
        for lot, amount, cost, stands in zip(
            received.lots, received.measured, received.landed, received.against, strict=True
        )
    ]
    return {**brief_json(received.receipt, currency), "lines": lines}


def quantity_json(entered: str, quantity: Any, counted: bool) -> dict[str, Any]:
    """What was typed, and the grams or pieces that it is."""
    if counted:
        return {"entered": entered, "count": plain(quantity.quantize(1))}
    return {"entered": entered, "grams": plain(quantity)}


class Receipts(Resource):
    """Deliveries."""

    @reads(ReceiptQuery, page_of(ReceiptBrief))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List deliveries, newest first."""
        rows = receiving.receipts_of(actor)
        if "supplier" in query:
            rows = rows.filter(supplier_id=query["supplier"])
        return page(self.request, query, rows, lambda row: brief_json(row, actor.currency))

    @writes(ReceiptIn, ReceiptOut, examples=examples.RECEIPT)
    def post(self, actor: Actor, data: dict[str, Any]) -> Any:
        """Receive a delivery: a lot a line, at landed cost, in quarantine unless released."""
        release = data.get("release")
        received = receiving.receive(
            actor,
            supplier=data["supplier"],
            lines=[receiving.Delivered(**line) for line in data["lines"]],
            charges=[
                Charge(ChargeKind(charge["kind"]), charge["amount"], SpreadBy(charge["spread_by"]))
                for charge in data.get("charges", [])
            ],
            happened_at=data.get("happened_at", self.now),
            release_basis=release and release["basis"],
            reference=data.get("reference", ""),
            condition=data.get("condition", ""),
            order=data.get("order"),
        )
        return receipt_json(received, actor)


class OneReceipt(Resource):
    """One delivery."""

    @reads(None, KeptOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a delivery with the working of its landed cost: which share of which charge."""
        kept = receiving.receipt_for(actor, id)
        charges = [
            {
                "kind": charge.kind,
                "amount": plain(round_money(charge.amount, actor.currency)),
                "spread_by": charge.spread_by,
            }
            for charge in kept.charges
        ]
        lines = [
            _kept_line(line, kept.statuses, actor.currency)
            | {"against": against_json(stands, line.lot.material.counted, actor)}
            for line, stands in zip(kept.lines, kept.against, strict=True)
        ]
        return {**brief_json(kept.receipt, actor.currency), "lines": lines, "charges": charges}


def _kept_line(line: ReceiptLine, statuses: Any, currency: str) -> dict[str, Any]:
    counted = line.lot.material.counted
    per = Decimal(1) if counted else GRAMS_PER_KG
    return {
        "lot": {
            "id": str(line.lot_id),
            "code": line.lot.code,
            "status": statuses[line.lot_id],
        },
        "material": str(line.lot.material_id),
        "quantity": quantity_json(line.entered, line.quantity, counted),
        "density": plain(line.density and line.density.normalize()),
        "density_of": line.density_of,
        "goods": plain(round_money(line.goods, currency)),
        "charges": plain(round_money(line.landed_cost - line.goods, currency)),
        "landed_cost": plain(round_money(line.landed_cost, currency)),
        "unit_cost": {
            "amount": plain(unit_cost(line.landed_cost, line.quantity, per=per)),
            "per": priced_per(counted),
        },
        "shares": [
            {
                "charge": share.charge.position,
                "amount": plain(round_money(share.amount, currency)),
            }
            for share in sorted(line.shares.all(), key=lambda share: share.charge.position)
        ],
    }
