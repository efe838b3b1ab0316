"""What leaves the store and what comes back: opening stock, issues, sales, returns."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, writes
from api.rest import examples
from api.rest.deviation_shapes import DeviationIn
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
from api.rest.receipts import QuantityOut, ReleaseIn, quantity_json
from ledger import issuing
from ledger.access import Actor
from ledger.money import round_money
from ledger.opening_stock import open_stock
from ledger.roles import Verb


class LineIn(Body):
    lot = Id()
    quantity = QuantityField()


class Lines(Body):
    lines = listed(LineIn, least=1, most=200)
    happened_at = Moment(required=False)


class IssueIn(Lines):
    purpose = Choice(list(issuing.ISSUED))
    reason = Text(max_length=400)


class SaleIn(Lines):
    customer = Text(max_length=120, help_text="Your own reference, found again in a recall.")
    deviation = DeviationIn(required=False, allow_null=True)


class SupplierReturnIn(Lines):
    reason = Text(max_length=400)


class HoldIn(Body):
    basis = Text(max_length=400, help_text='Such as "opened; not yet looked at".')


class CustomerReturnIn(Lines):
    sale = Id(help_text="The entry of the sale.")
    reason = Text(max_length=400)
    hold = HoldIn(
        required=False,
        allow_null=True,
        help_text="Puts the lots on hold until somebody has looked: all of each, and all that was"
        " made of it.",
    )


class OpeningIn(Body):
    material = Id()
    supplier_lot = Text(max_length=80)
    quantity = QuantityField()
    value = DecimalText(least="0", help_text="What the whole lot was worth.")
    expires_on = serializers.DateField(required=False, allow_null=True)
    retest_on = serializers.DateField(required=False, allow_null=True)
    density = DensityIn(required=False, allow_null=True)
    happened_at = Moment(required=False)
    release = ReleaseIn(required=False, allow_null=True)
    place = Id(required=False, allow_null=True, help_text="Where it lies.")


class MovedLine(serializers.Serializer[Any]):
    lot = Id()
    code = Text()
    quantity = QuantityOut()
    value = Shown(allow_null=True)


class MovedOut(serializers.Serializer[Any]):
    entry = Id()
    value = Shown(allow_null=True)
    lines = MovedLine(many=True)


def moved_json(moved: issuing.Moved, actor: Actor) -> dict[str, Any]:
    lines = [
        {
            "lot": str(lot.id),
            "code": lot.code,
            "quantity": quantity_json(amount.entered, amount.quantity, amount.counted),
            "value": _value(value, actor),
        }
        for lot, amount, value in zip(moved.lots, moved.measured, moved.posted.values, strict=True)
    ]
    return {
        "entry": str(moved.posted.entry_id),
        "value": _value(moved.value, actor),
        "lines": lines,
    }


def _value(value: Decimal, actor: Actor) -> str | None:
    """A value at the minor unit, for who may see costs."""
    return plain(round_money(value, actor.currency)) if actor.may(Verb.SEE_COSTS) else None


def taken(data: dict[str, Any]) -> list[issuing.Taken]:
    return [issuing.Taken(**line) for line in data["lines"]]


class OpeningStock(Resource):
    """Stock from before the books began."""

    @writes(OpeningIn, MovedOut)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Enter a lot that was there before, at the value it then had."""
        release = data.pop("release", None)
        moved = open_stock(
            actor,
            **{"happened_at": self.now, **data},
            release_basis=release and release["basis"],
        )
        return moved_json(moved, actor)


class Issues(Resource):
    """Samples, testers, gifts and write-offs."""

    @writes(IssueIn, MovedOut, examples=examples.ISSUE)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Take stock out for a stated purpose and reason."""
        moved = issuing.issue(
            actor,
            lines=taken(data),
            purpose=data["purpose"],
            reason=data["reason"],
            happened_at=data.get("happened_at", self.now),
        )
        return moved_json(moved, actor)


class Sales(Resource):
    """Sales by batch code and customer reference."""

    @writes(SaleIn, MovedOut, examples=examples.SALE)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Sell from lots; the value is the cost of the goods sold."""
        deviation = data.get("deviation")
        moved = issuing.sell(
            actor,
            lines=taken(data),
            customer=data["customer"],
            happened_at=data.get("happened_at", self.now),
            deviation=deviation["reason"] if deviation else "",
        )
        return moved_json(moved, actor)


class CustomerReturns(Resource):
    """Goods that come back from a customer."""

    @writes(CustomerReturnIn, MovedOut)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Take goods back at the cost at which they were sold; their lots may wait on hold."""
        hold = data.get("hold")
        moved = issuing.take_back(
            actor,
            sale=data["sale"],
            lines=taken(data),
            reason=data["reason"],
            happened_at=data.get("happened_at", self.now),
            hold=hold["basis"] if hold else "",
        )
        return moved_json(moved, actor)


class SupplierReturns(Resource):
    """Goods that go back to their supplier."""

    @writes(SupplierReturnIn, MovedOut)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Send goods back at what they cost."""
        moved = issuing.return_to_supplier(
            actor,
            lines=taken(data),
            reason=data["reason"],
            happened_at=data.get("happened_at", self.now),
        )
        return moved_json(moved, actor)
