"""Bills that come after their delivery, and on what they fall."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, reads, writes
from api.rest import examples
from api.rest.fields import Body, Choice, DecimalText, Id, Moment, Shown, Text, plain
from formulas.later_bills import batches_in
from ledger import billing
from ledger.access import Actor
from ledger.costing import ChargeKind, SpreadBy
from ledger.models import Bill, BillLine, BillUse
from ledger.money import round_money

WAYS = [way.value for way in SpreadBy]
KINDS = [kind.value for kind in Bill.Kind]


class BillIn(Body):
    reference = Text(max_length=80, required=False, help_text="The number on the paper.")
    reason = Text(max_length=400, required=False)
    supplier = Id(required=False, help_text="Who billed; the delivery's own, if left out.")
    happened_at = Moment(required=False)


class LateChargeIn(BillIn):
    kind = Choice([kind.value for kind in ChargeKind], help_text="tax is tax that is not recovered")
    amount = DecimalText(above="0")
    spread_by = Choice(WAYS)
    lot = Id(required=False, help_text="Only this lot of the delivery.")


class PriceCorrectionIn(BillIn):
    lot = Id(help_text="The lot whose price was wrong.")
    amount = DecimalText(
        least="-999999999999", help_text="Above zero, the line costs so much more; below, less."
    )


class CreditNoteIn(BillIn):
    amount = DecimalText(above="0", help_text="As it stands on the credit note, without a sign.")
    spread_by = Choice(WAYS, required=False, help_text="value, if left out.")
    lot = Id(required=False, help_text="Only this lot of the delivery.")


class UseOut(serializers.Serializer[Any]):
    place = Text(help_text="Where the goods went.")
    batch = Id(allow_null=True)
    code = Text(allow_null=True, help_text="The batch's.")
    entry = Id(allow_null=True, help_text="Of what went into a making or a fill from the store.")
    quantity = Shown(help_text="Grams, or pieces.")
    amount = Shown()


class BillLineOut(serializers.Serializer[Any]):
    lot = Id()
    code = Text()
    amount = Shown()
    left = Shown(help_text="Of the delivery, what was still in store: grams, or pieces.")
    to_stock = Shown(help_text="What raised or lowered the cost of what is left.")
    to_used = Shown(help_text="What fell on what had been used.")
    uses = UseOut(many=True)


class BillOut(serializers.Serializer[Any]):
    id = Id()
    entry = Id()
    receipt = Id()
    supplier = Id()
    kind = serializers.ChoiceField(KINDS)
    charge_kind = Text(allow_blank=True)
    amount = Shown(help_text="Below zero where it lowers the cost.")
    spread_by = Text(help_text="mass or value; line for a single lot")
    reference = Text(allow_blank=True)
    reason = Text(allow_blank=True)
    happened_at = Moment()
    undone = serializers.BooleanField()
    to_stock = Shown()
    to_used = Shown()
    lines = BillLineOut(many=True)


class BillsOut(serializers.Serializer[Any]):
    results = BillOut(many=True)


def bills_json(actor: Actor, bills: list[Bill]) -> list[dict[str, Any]]:
    batches = batches_in(actor, bills)
    return [_bill_json(bill, batches, actor.currency) for bill in bills]


def _bill_json(bill: Any, batches: Any, currency: str) -> dict[str, Any]:
    lines = list(bill.lines.all())
    to_stock = sum((line.to_stock for line in lines), bill.amount * 0)
    return {
        "id": str(bill.id),
        "entry": str(bill.entry_id),
        "receipt": str(bill.receipt_id),
        "supplier": str(bill.supplier_id),
        "kind": bill.kind,
        "charge_kind": bill.charge_kind,
        "amount": _money(bill.amount, currency),
        "spread_by": bill.spread_by,
        "reference": bill.reference,
        "reason": bill.reason,
        "happened_at": bill.happened_at,
        "undone": bill.undone,
        "to_stock": _money(to_stock, currency),
        "to_used": _money(bill.amount - to_stock, currency),
        "lines": [_line_json(line, batches, currency) for line in lines],
    }


def _line_json(line: BillLine, batches: Any, currency: str) -> dict[str, Any]:
    return {
        "lot": str(line.line.lot_id),
        "code": line.line.lot.code,
        "amount": _money(line.amount, currency),
        "left": plain(line.left),
        "to_stock": _money(line.to_stock, currency),
        "to_used": _money(line.amount - line.to_stock, currency),
        "uses": [_use_json(use, batches, currency) for use in line.uses.all()],
    }


def _use_json(use: BillUse, batches: Any, currency: str) -> dict[str, Any]:
    batch = batches.get(use.entry_id) or batches.get(use.account_id)
    if use.account is None:
        place = "not known"
    else:
        place = f"batch {batch[1]}" if batch else use.account.name
    return {
        "place": place,
        "batch": batch and str(batch[0]),
        "code": batch and batch[1],
        "entry": use.entry_id and str(use.entry_id),
        "quantity": plain(use.quantity),
        "amount": _money(use.amount, currency),
    }


def _money(amount: Any, currency: str) -> str | None:
    return plain(round_money(amount, currency))


class _Booking(Resource):
    """What the three kinds share."""

    def book(self, actor: Actor, data: dict[str, Any], id: str, kind: Bill.Kind) -> dict[str, Any]:
        charge, way = data.get("kind"), data.get("spread_by", SpreadBy.VALUE.value)
        named = ("amount", "lot", "supplier", "reference", "reason")
        wanted = billing.Wanted(
            kind=kind,
            charge_kind=ChargeKind(charge) if charge else None,
            spread_by=SpreadBy(way),
            **{name: data[name] for name in named if name in data},
        )
        happened_at = data.get("happened_at", self.now)
        bill = billing.book_bill(actor, receipt=id, bill=wanted, happened_at=happened_at)
        return bills_json(actor, [bill])[0]


class LateCharges(_Booking):
    """Charges that come after the delivery."""

    @writes(LateChargeIn, BillOut, examples=examples.LATE_CHARGE)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Book a late freight, duty or tax bill: on what is left, and on what has been used."""
        return self.book(actor, data, id, Bill.Kind.LATE_CHARGE)


class PriceCorrections(_Booking):
    """Prices that the invoice has otherwise than the delivery note."""

    @writes(PriceCorrectionIn, BillOut, examples=examples.PRICE_CORRECTION)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Correct the price of one lot, up or down; nothing earlier is recosted."""
        return self.book(actor, data, id, Bill.Kind.PRICE_CORRECTION)


class CreditNotes(_Booking):
    """Credit notes of a supplier."""

    @writes(CreditNoteIn, BillOut, examples=examples.CREDIT_NOTE)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Book a credit note: off what is left, and off what has been used."""
        return self.book(actor, data, id, Bill.Kind.CREDIT_NOTE)


class Bills(Resource):
    """The bills of a delivery."""

    @reads(None, BillsOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """List the bills that came after a delivery, and on what each of them fell."""
        return {"results": bills_json(actor, billing.bills_of(actor, id))}
