"""Moves of goods between the makers of a co-op."""

from typing import Any, Final

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples, settlement_examples
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
    plain,
)
from api.rest.lots import STATUSES
from api.rest.receipts import QuantityOut, ReleaseIn, quantity_json
from api.rest.stock import amount
from ledger import giving_back, transferring
from ledger.access import Actor
from ledger.models import Maker, Transfer
from ledger.money import round_money
from ledger.roles import Verb

CAUTION: Final = (
    "A record and calculator: how goods between makers are valued and taxed, and whether this is"
    " resale, differs by place. Ask an accountant before relying on it."
)
STATES = [state.value for state in Transfer.State]


class OtherMakerOut(serializers.Serializer[Any]):
    id = Id()
    name = Text()
    mark = Text()


class TransferIn(Body):
    maker = Id(help_text="Who is offered the goods.")
    lot = Id()
    quantity = QuantityField()
    price = DecimalText(
        least="0",
        required=False,
        allow_null=True,
        help_text="For all of it. Left out: at what it costs in the giver's books.",
    )
    in_kind = Flag(
        required=False,
        help_text="Lent: as much of the material is owed, and the price is what it is worth.",
    )
    note = Text(max_length=400, required=False)
    happened_at = Moment(required=False, help_text="From when on the goods may move; now.")


class AcceptanceIn(Body):
    happened_at = Moment(required=False)
    release = ReleaseIn(required=False, allow_null=True)


class GivingBackIn(Body):
    quantity = QuantityField(required=False, help_text="Left out: all that is still owed.")
    lot = Id(
        required=False,
        help_text="What replaces something that was lent: any lot of the material.",
    )
    happened_at = Moment(required=False)
    note = Text(max_length=400, required=False)


class AnswerIn(Body):
    reason = Text(max_length=400)


class OfferedLot(serializers.Serializer[Any]):
    id = Id()
    code = Text()
    material = Id()
    material_name = Text()
    supplier = Id(allow_null=True)
    supplier_lot = Text(allow_blank=True)
    expires_on = serializers.DateField(allow_null=True)
    retest_on = serializers.DateField(allow_null=True)
    opened_on = serializers.DateField(
        allow_null=True,
        help_text="Since when it is open with its giver, as was said or as its draws show; so it"
        " will be with you. Once the offer is answered, told to its giver alone.",
    )
    use_by = serializers.DateField(
        allow_null=True,
        help_text="The last day of use since it is open, told as opened_on is; null without days.",
    )
    status_at_giver = serializers.ChoiceField(STATUSES)
    origin = Text(help_text="The maker that first had the lot.")
    status_at_origin = serializers.ChoiceField(STATUSES, allow_null=True)


class PartyOut(serializers.Serializer[Any]):
    id = Id()
    name = Text()


TransferOut = type(
    "TransferOut",
    (serializers.Serializer,),
    {
        "id": Id(),
        # "from" is a word of the language, so it cannot be written as an attribute.
        "from": PartyOut(),
        "to": PartyOut(),
        "incoming": serializers.BooleanField(),
        "state": serializers.ChoiceField(STATES),
        "lot": OfferedLot(),
        "quantity": QuantityOut(),
        "price": Shown(allow_null=True, help_text="null is at cost"),
        "amount": Shown(allow_null=True, help_text="What the receiver owes for it."),
        "gain": Shown(
            allow_null=True, help_text="The amount above what the goods cost you, if you gave them."
        ),
        "in_kind": serializers.BooleanField(help_text="Owed in goods, not in money."),
        "answers": Id(allow_null=True, help_text="The move that it gives back."),
        "note": Text(allow_blank=True),
        "reason": Text(allow_blank=True),
        "happened_at": Moment(),
        "offered_at": Moment(),
        "answered_at": Moment(allow_null=True),
        "entry": Id(allow_null=True, help_text="The entry in your own books."),
    },
)

# Where goods change hands, and not wherever they are looked at.
TransferMadeOut = type("TransferMadeOut", (TransferOut,), {"caution": Text()})


class LoanOut(serializers.Serializer[Any]):
    transfer = Id()
    maker = PartyOut(help_text="The other maker.")
    lent = serializers.BooleanField(help_text="By you; otherwise you borrowed it.")
    material = Id()
    material_name = Text()
    quantity = QuantityOut()
    owed = Shown(help_text="What is not replaced yet, in grams or pieces.")
    owed_value = Shown(allow_null=True, help_text="What that was worth when it was lent.")
    happened_at = Moment()
    note = Text(allow_blank=True)


class TransferQuery(Paged):
    direction = Choice(["in", "out"], required=False)
    state = Choice(STATES, required=False)


def maker_json(row: Maker) -> dict[str, Any]:
    return {"id": str(row.id), "name": row.name, "mark": row.mark}


def transfer_json(offered: transferring.Offered, actor: Actor) -> dict[str, Any]:
    row, costs = offered.transfer, actor.may(Verb.SEE_COSTS)
    incoming = row.to_maker_id == actor.maker_id
    entry = row.in_entry_id if incoming else row.out_entry_id
    lot = {
        "id": str(row.lot_id),
        "code": offered.code,
        "material": str(row.material_id),
        "material_name": offered.material_name,
        "supplier": offered.supplier_id and str(offered.supplier_id),
        "supplier_lot": offered.supplier_lot,
        "expires_on": offered.expires_on,
        "retest_on": offered.retest_on,
        "opened_on": offered.opened_on,
        "use_by": offered.use_by,
        "status_at_giver": offered.giver_status,
        "origin": offered.origin_name,
        "status_at_origin": offered.origin_status,
    }
    return {
        "id": str(row.id),
        "from": {"id": str(row.maker_id), "name": offered.giver},
        "to": {"id": str(row.to_maker_id), "name": offered.receiver},
        "incoming": incoming,
        "state": row.state,
        "lot": lot,
        "quantity": quantity_json(row.entered, row.quantity, offered.counted),
        "price": _money(row.price, actor) if costs else None,
        "amount": _money(row.amount, actor) if costs else None,
        "gain": _money(offered.gain, actor) if costs else None,
        "in_kind": row.in_kind,
        "answers": row.answers_id and str(row.answers_id),
        "note": row.note,
        "reason": row.reason,
        "happened_at": row.happened_at,
        "offered_at": row.offered_at,
        "answered_at": row.answered_at,
        "entry": entry and str(entry),
    }


def loan_json(row: Transfer, actor: Actor) -> dict[str, Any]:
    loan = giving_back.as_loan(actor, row)
    counted = row.material.counted
    return {
        "transfer": str(row.id),
        "maker": {"id": str(loan.other), "name": loan.other_name},
        "lent": loan.lent,
        "material": str(row.material_id),
        "material_name": row.material.name,
        "quantity": quantity_json(row.entered, row.quantity, counted),
        "owed": amount(loan.owed, counted),
        "owed_value": _money(loan.owed_value, actor) if actor.may(Verb.SEE_COSTS) else None,
        "happened_at": row.happened_at,
        "note": row.note,
    }


def _money(value: Any, actor: Actor) -> str | None:
    return None if value is None else plain(round_money(value, actor.currency))


def _one(row: Transfer, actor: Actor) -> dict[str, Any]:
    (found,) = transferring.offered([row])
    return transfer_json(found, actor)


class Makers(Resource):
    """The makers of the co-op."""

    @reads(Paged, page_of(OtherMakerOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List who is in the co-op: to whom goods can be offered."""
        return page(self.request, query, transferring.makers_of_coop(actor), maker_json)


class Transfers(Resource):
    """Offers of goods to other makers, and theirs."""

    @reads(TransferQuery, page_of(TransferOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List offers that you made or were made, newest first."""
        way = query.get("direction")
        rows = transferring.transfers_of(
            actor, incoming=None if way is None else way == "in", state=query.get("state")
        )
        found = page(self.request, query, rows, lambda row: row)
        found.body["results"] = [
            transfer_json(one, actor) for one in transferring.offered(found.body["results"])
        ]
        return found

    @writes(TransferIn, TransferMadeOut, examples=examples.TRANSFER)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Offer so much of a lot to another maker; nothing moves until they accept."""
        offer = transferring.offer_transfer(actor, **{"happened_at": self.now, **data})
        return {**_one(offer, actor), "caution": CAUTION}


class OneTransfer(Resource):
    """One offer."""

    @reads(None, TransferOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show an offer, and how its lot stands with the giver and its origin."""
        return _one(transferring.transfer_for(actor, id), actor)


class Returns(Resource):
    """Giving back what came."""

    @writes(GivingBackIn, TransferOut, examples=settlement_examples.GIVING_BACK)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Offer goods back at the price at which they came, or replace what you borrowed."""
        facts = {"happened_at": self.now, **data}
        return _one(giving_back.give_back(actor, transfer=id, **facts), actor)


class Loans(Resource):
    """Debts in kind."""

    @reads(Paged, page_of(LoanOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List what you lent or borrowed and is not replaced yet, newest first."""
        rows = giving_back.loans_of(actor)
        return page(self.request, query, rows, lambda row: loan_json(row, actor))


class Acceptances(Resource):
    """Accepting an offer."""

    @writes(AcceptanceIn, TransferMadeOut, examples=examples.ACCEPTANCE)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Take the goods into your store; the amount is owed to the giver."""
        release = data.get("release")
        accepted = transferring.accept_transfer(
            actor,
            transfer=id,
            happened_at=data.get("happened_at", self.now),
            release_basis=release["basis"] if release else None,
        )
        return {**_one(accepted, actor), "caution": CAUTION}


class Declines(Resource):
    """Declining an offer."""

    @writes(AnswerIn, TransferOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Decline an offer that was made to you."""
        return _one(transferring.decline_transfer(actor, transfer=id, **data), actor)


class Withdrawals(Resource):
    """Withdrawing an offer."""

    @writes(AnswerIn, TransferOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Withdraw an offer of your own that nobody has accepted."""
        return _one(transferring.withdraw_transfer(actor, transfer=id, **data), actor)
