"""Drums decanted into lots of their own, and deposits on them."""

from decimal import Decimal
from typing import Any, Final

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import settlement_examples as examples
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    Flag,
    Id,
    Moment,
    QuantityField,
    Shown,
    Text,
    listed,
    plain,
)
from api.rest.receipts import LotBrief, QuantityOut, UnitCost, quantity_json
from api.rest.settlement import CAUTION
from api.rest.stock import amount
from ledger import decanting, deposits
from ledger.access import Actor, day_of
from ledger.costing import GRAMS_PER_KG, unit_cost
from ledger.models import Decanting, DecantingDraw, Deposit
from ledger.money import round_money
from ledger.quantities import priced_per
from ledger.roles import Verb

UNIT: Final = Decimal(1)


class DrawnIn(Body):
    net = QuantityField(required=False, help_text="Left out: gross and tare.")
    gross = QuantityField(required=False)
    tare = QuantityField(required=False)
    maker = Id(
        required=False,
        allow_null=True,
        help_text="Whom it is for: it is offered to that maker at its share of the cost.",
    )


class PaidIn(Body):
    maker = Id()
    amount = DecimalText(above="0")
    note = Text(max_length=400, help_text='Such as "freight, paid to the carrier".')


class DecantingIn(Body):
    draws = listed(DrawnIn, least=1, most=100)
    emptied = Flag(
        required=False,
        help_text="true, if left out: what was not drawn is the heel, and its cost is shared.",
    )
    paid = listed(
        PaidIn, most=20, required=False, help_text="What of the cost other makers paid already."
    )
    happened_at = Moment(required=False)
    note = Text(max_length=400, required=False)


class DecantedDrawOut(serializers.Serializer[Any]):
    lot = LotBrief()
    quantity = QuantityOut()
    gross = Shown(allow_null=True, help_text="In grams.")
    tare = Shown(allow_null=True)
    share = Shown(allow_null=True)
    maker = Id(allow_null=True, help_text="Whom it is offered to.")
    transfer = Id(allow_null=True, help_text="The offer.")


class PartOfCostOut(serializers.Serializer[Any]):
    maker = Id()
    share = Shown()
    paid = Shown()
    receives = Shown(help_text="Below zero the maker pays so much. All of them sum to zero.")


class DecantingOut(serializers.Serializer[Any]):
    id = Id()
    entry = Id()
    lot = Id()
    happened_at = Moment()
    reversed = serializers.BooleanField()
    drawn = Shown(help_text="In grams, or pieces of what is counted.")
    heel = Shown()
    cost = Shown(allow_null=True)
    unit_cost = UnitCost(allow_null=True, help_text="Of what was drawn.")
    note = Text(allow_blank=True)
    draws = DecantedDrawOut(many=True)


class DecantedOut(DecantingOut):
    settlement = PartOfCostOut(many=True, allow_null=True, help_text="The holder first.")
    caution = Text()


class DecantingBrief(serializers.Serializer[Any]):
    id = Id()
    entry = Id()
    lot = Id()
    happened_at = Moment()
    reversed = serializers.BooleanField()
    drawn = Shown()
    heel = Shown()
    note = Text(allow_blank=True)


class DepositIn(Body):
    supplier = Id()
    amount = DecimalText(above="0")
    lot = Id(required=False, help_text="What came in the drum.")
    happened_at = Moment(required=False)
    note = Text(max_length=400, required=False)


class DepositReturnIn(Body):
    happened_at = Moment(required=False)
    note = Text(max_length=400, required=False)


class DepositOut(serializers.Serializer[Any]):
    id = Id()
    entry = Id()
    supplier = Id()
    supplier_name = Text()
    lot = Id(allow_null=True)
    amount = Shown()
    note = Text(allow_blank=True)
    happened_at = Moment()
    returned_at = Moment(allow_null=True)
    days_out = serializers.IntegerField()
    caution = Text()


class DepositQuery(Paged):
    state = Choice(["due", "returned"], required=False)


def brief_json(row: Decanting) -> dict[str, Any]:
    counted = row.lot.material.counted
    return {
        "id": str(row.id),
        "entry": str(row.entry_id),
        "lot": str(row.lot_id),
        "happened_at": row.happened_at,
        "reversed": getattr(row, "reversed", False),
        "drawn": amount(row.drawn, counted),
        "heel": amount(row.heel, counted),
        "note": row.note,
    }


def decanting_json(
    row: Decanting, draws: list[DecantingDraw], statuses: dict[Any, str], actor: Actor
) -> dict[str, Any]:
    costs, counted = actor.may(Verb.SEE_COSTS), row.lot.material.counted
    per = UNIT if counted else GRAMS_PER_KG
    return {
        **brief_json(row),
        "cost": plain(round_money(row.cost, actor.currency)) if costs else None,
        "unit_cost": {
            "amount": plain(unit_cost(row.cost, row.drawn, per=per)),
            "per": priced_per(counted),
        }
        if costs
        else None,
        "draws": [
            {
                "lot": {
                    "id": str(draw.lot_id),
                    "code": draw.lot.code,
                    "status": statuses[draw.lot_id],
                },
                "quantity": quantity_json(draw.entered, draw.quantity, counted),
                "gross": plain(draw.gross),
                "tare": plain(draw.tare),
                "share": plain(round_money(draw.share, actor.currency)) if costs else None,
                "maker": draw.transfer and str(draw.transfer.to_maker_id),
                "transfer": draw.transfer_id and str(draw.transfer_id),
            }
            for draw in draws
        ],
    }


def _decanting(row: Decanting, actor: Actor) -> dict[str, Any]:
    draws = decanting.draws_of(row)
    return decanting_json(row, draws, decanting.statuses_of(actor, draws), actor)


def deposit_json(row: Deposit, actor: Actor, today: Any) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "entry": str(row.entry_id),
        "supplier": str(row.supplier_id),
        "supplier_name": row.supplier.name,
        "lot": row.lot_id and str(row.lot_id),
        "amount": plain(round_money(row.amount, actor.currency)),
        "note": row.note,
        "happened_at": row.happened_at,
        "returned_at": row.returned_at,
        "days_out": deposits.days_out(actor, row, today),
        "caution": CAUTION,
    }


class Decantings(Resource):
    """Decanting a lot."""

    @reads(Paged, page_of(DecantingBrief))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List how a lot was decanted, the latest first."""
        return page(self.request, query, decanting.decantings_of(actor, id), brief_json)

    @writes(DecantingIn, DecantedOut, examples=examples.DECANTING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Draw a lot off into lots of their own, which share what it cost, its heel included."""
        made = decanting.decant(
            actor,
            lot=id,
            draws=[decanting.Drawn(**draw) for draw in data["draws"]],
            paid=[decanting.PaidByOther(**one) for one in data.get("paid", [])],
            emptied=data.get("emptied", True),
            happened_at=data.get("happened_at", self.now),
            note=data.get("note", ""),
        )
        parts = [
            {
                "maker": str(part.maker),
                "share": plain(round_money(part.share, actor.currency)),
                "paid": plain(round_money(part.paid, actor.currency)),
                "receives": plain(round_money(part.receives, actor.currency)),
            }
            for part in made.parts
        ]
        return {
            **_decanting(made.decanting, actor),
            "settlement": parts if actor.may(Verb.SEE_COSTS) else None,
            "caution": CAUTION,
        }


class OneDecanting(Resource):
    """One decanting."""

    @reads(None, DecantingOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a decanting: every draw, the lot it became and its share."""
        return _decanting(decanting.decanting_for(actor, id), actor)


class Deposits(Resource):
    """Deposits that suppliers hold."""

    @reads(DepositQuery, page_of(DepositOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List deposits, the latest first, with how long they have been out."""
        due = {"due": True, "returned": False}.get(query.get("state", ""))
        today = day_of(actor, self.now)
        rows = deposits.deposits_of(actor, due=due)
        return page(self.request, query, rows, lambda row: deposit_json(row, actor, today))

    @writes(DepositIn, DepositOut, examples=examples.DEPOSIT)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Keep that a deposit was paid; the supplier owes it, and it is no part of a cost."""
        facts = {"happened_at": self.now, **data}
        return deposit_json(deposits.pay_deposit(actor, **facts), actor, day_of(actor, self.now))


class DepositReturns(Resource):
    """Deposits that come back."""

    @writes(DepositReturnIn, DepositOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Keep that a deposit came back."""
        facts = {"happened_at": self.now, **data}
        made = deposits.return_deposit(actor, deposit=id, **facts)
        return deposit_json(made, actor, day_of(actor, self.now))
