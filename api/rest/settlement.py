"""What makers owe each other: balances, monthly statements, payments, disputes, clearing."""

import re
from datetime import date
from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import settlement_examples as examples
from api.rest.co_op_store import store_json
from api.rest.fields import Body, Choice, DecimalText, Flag, Id, Moment, Shown, Text, plain
from api.rest.transfers import AnswerIn, PartyOut
from ledger import coop_clearing, settling
from ledger.access import Actor, day_of
from ledger.co_op_store import store_keeper
from ledger.models import Clearing, Movement
from ledger.money import round_money
from ledger.months import month_of

KINDS = [kind.value for kind in Movement.Kind]
CAUTION = (
    "A record and calculator: valuation, tax and deposits between makers differ by place. Ask an"
    " accountant before relying on it."
)


class OwedOut(serializers.Serializer[Any]):
    maker = PartyOut()
    balance = Shown(help_text="Above zero the maker owes you; for the coordinator: is owed.")
    disputed = Shown(help_text="Part of the balance that waits out every clearing.")


class DueOut(serializers.Serializer[Any]):
    payer = PartyOut()
    payee = PartyOut()
    amount = Shown()


class ProposalOut(serializers.Serializer[Any]):
    payments = DueOut(many=True)
    at_least = serializers.IntegerField(help_text="No way needs fewer payments.")
    proven = serializers.BooleanField(help_text="These are as few as can be.")


class SettlementOut(serializers.Serializer[Any]):
    results = OwedOut(many=True)
    total = Shown(help_text="What you are owed in all; of a co-op it is zero.")
    store = PartyOut(allow_null=True, help_text="Which of them keeps the co-op's store.")
    clearing = ProposalOut(allow_null=True, help_text="For the coordinator: how to clear it all.")
    caution = Text()


class DisputeOut(serializers.Serializer[Any]):
    by = Id(help_text="The maker who disputes it.")
    reason = Text()
    since = Moment()


class MovementOut(serializers.Serializer[Any]):
    id = Id()
    kind = serializers.ChoiceField(KINDS)
    maker = PartyOut(help_text="The other maker.")
    amount = Shown(help_text="Above zero you are owed so much more.")
    happened_at = Moment()
    on = serializers.DateField()
    recorded_at = Moment()
    note = Text(allow_blank=True)
    entry = Id(help_text="The entry in your own books.")
    transfer = Id(allow_null=True, help_text="The goods that it is for.")
    reverses = Id(allow_null=True)
    dispute = DisputeOut(allow_null=True, help_text="That stands now.")


class OpenedOut(serializers.Serializer[Any]):
    maker = PartyOut()
    opening = Shown()
    closing = Shown()


class StatementOut(serializers.Serializer[Any]):
    month = Text()
    closed = serializers.BooleanField(help_text="In your books; nothing is added to it.")
    opening = Shown()
    closing = Shown()
    balances = OpenedOut(many=True, help_text="With each other maker.")
    store = PartyOut(allow_null=True, help_text="Which of them keeps the co-op's store.")
    results = MovementOut(many=True)
    next = Text(allow_null=True)


class MonthField(Text):
    """A month as 2025-05."""

    def to_internal_value(self, data: Any) -> str:
        text = super().to_internal_value(data)
        if not re.fullmatch(r"(19|20|21)\d\d-(0[1-9]|1[0-2])", text):
            raise serializers.ValidationError(
                'Write the month such as "2025-05".', code="not_a_month"
            )
        return text


class StatementQuery(Paged):
    month = MonthField(max_length=7, required=False, help_text="Such as 2025-05; now this month.")
    maker = serializers.UUIDField(required=False, help_text="With one other maker alone.")


class PaymentIn(Body):
    maker = Id(help_text="The other maker.")
    direction = Choice(
        ["paid", "received"],
        help_text="paid: to the other, or for it, such as its freight to a carrier.",
    )
    amount = DecimalText(above="0")
    note = Text(max_length=400, help_text="How, and what for.")
    happened_at = Moment(required=False, help_text="The day of payment; now, if left out.")


class DisputeIn(Body):
    reason = Text(max_length=400)
    disputed = Flag(required=False, help_text="false: your own dispute is over, and why.")


class ClearingIn(Body):
    note = Text(max_length=400, required=False)
    happened_at = Moment(required=False)


class ClearingOut(serializers.Serializer[Any]):
    id = Id()
    happened_at = Moment()
    note = Text(allow_blank=True)
    payments = DueOut(many=True, help_text="All of them for the coordinator; otherwise your own.")
    at_least = serializers.IntegerField()


def seen_json(one: settling.Seen, actor: Actor) -> dict[str, Any]:
    row, dispute = one.movement, one.dispute
    return {
        "id": str(row.id),
        "kind": row.kind,
        "maker": {"id": str(one.other), "name": one.name},
        "amount": _money(one.amount, actor),
        "happened_at": row.happened_at,
        "on": row.happened_on,
        "recorded_at": row.recorded_at,
        "note": row.note,
        "entry": str(one.entry_id),
        "transfer": row.transfer_id and str(row.transfer_id),
        "reverses": row.reverses_id and str(row.reverses_id),
        "dispute": dispute
        and {
            "by": str(dispute.maker_id),
            "reason": dispute.reason,
            "since": dispute.recorded_at,
        },
    }


def _money(amount: Any, actor: Actor) -> str | None:
    return plain(round_money(amount, actor.currency))


def _party(id: Any, name: str) -> dict[str, str]:
    return {"id": str(id), "name": name}


def _movement(row: Movement, actor: Actor) -> dict[str, Any]:
    (seen,) = settling.seen_by(actor, [row])
    return seen_json(seen, actor)


class Settlement(Resource):
    """Who owes whom."""

    @reads(None, SettlementOut)
    def get(self, actor: Actor) -> dict[str, Any]:
        """Show what each other maker owes you; the coordinator sees what each is owed in all."""
        if actor.maker_id is None:
            return _of_coop(coop_clearing.propose(actor), actor)
        found = settling.balances_of(actor)
        results = [
            {
                "maker": _party(one.other, one.name),
                "balance": _money(one.amount, actor),
                "disputed": _money(one.disputed, actor),
            }
            for one in found
        ]
        total = sum((one.amount for one in found), settling.ZERO)
        return {
            "results": results,
            "total": _money(total, actor),
            "store": store_json(store_keeper(actor)),
            "clearing": None,
            "caution": CAUTION,
        }


def _of_coop(proposal: coop_clearing.Proposal, actor: Actor) -> dict[str, Any]:
    names = {one.maker: one.name for one in proposal.positions}
    total = sum((one.amount for one in proposal.positions), settling.ZERO)
    payments = [
        {
            "payer": _party(due.payer, names[due.payer]),
            "payee": _party(due.payee, names[due.payee]),
            "amount": _money(due.amount, actor),
        }
        for due in proposal.payments
    ]
    return {
        "results": [
            {
                "maker": _party(one.maker, one.name),
                "balance": _money(one.amount, actor),
                "disputed": _money(one.disputed, actor),
            }
            for one in proposal.positions
        ],
        "total": _money(total, actor),
        "store": store_json(store_keeper(actor)),
        "clearing": {
            "payments": payments,
            "at_least": proposal.at_least,
            "proven": len(payments) == proposal.at_least,
        },
        "caution": CAUTION,
    }


class Statements(Resource):
    """A month's movements between you and others."""

    @reads(StatementQuery, StatementOut)
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """Show a month: what was owed before, every movement, and what is owed after it."""
        month = query.get("month") or day_of(actor, self.now).strftime("%Y-%m")
        year, number = (int(part) for part in month.split("-"))
        other = query.get("maker")
        told = month_of(actor, date(year, number, 1), other=other)
        rows = settling.movements_of(actor, since=told.first, until=told.last, other=other)
        found = page(self.request, query, rows, lambda row: row)
        found.body["results"] = [
            seen_json(one, actor) for one in settling.seen_by(actor, found.body["results"])
        ]
        found.body |= {
            "month": month,
            "closed": told.closed,
            "opening": _money(told.opening, actor),
            "closing": _money(told.closing, actor),
            "store": store_json(store_keeper(actor)),
            "balances": [
                {
                    "maker": _party(one.other, one.name),
                    "opening": _money(one.before, actor),
                    "closing": _money(one.amount, actor),
                }
                for one in told.balances
            ],
        }
        return found


class OneMovement(Resource):
    """One movement between you and another maker."""

    @reads(None, MovementOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a movement, from your side."""
        return _movement(settling.movement_for(actor, id), actor)


class Disputes(Resource):
    """Disputing a movement."""

    @writes(DisputeIn, MovementOut, examples=examples.DISPUTE)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Mark a movement as disputed, or say that your dispute is over."""
        stands = data.pop("disputed", True)
        return _movement(settling.dispute(actor, movement=id, stands=stands, **data), actor)


class Payments(Resource):
    """Money between makers."""

    @writes(PaymentIn, MovementOut, examples=examples.PAYMENT)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Record money that you paid to another maker, or for it, or received from it."""
        paid = data.pop("direction") == "paid"
        facts = {"happened_at": self.now, **data}
        return _movement(settling.record_payment(actor, paid=paid, **facts), actor)


class PaymentReversals(Resource):
    """Taking a payment back that was recorded by mistake."""

    @writes(AnswerIn, MovementOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Undo a payment by a reversal in the books of both."""
        made = settling.undo_payment(actor, movement=id, happened_at=self.now, **data)
        return _movement(made, actor)


class Clearings(Resource):
    """Clearings of the co-op."""

    @reads(Paged, page_of(ClearingOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List clearings, newest first, with what you are to pay and to be paid."""
        found = page(self.request, query, coop_clearing.clearings_of(actor), lambda row: row)
        found.body["results"] = _clearings(found.body["results"], actor)
        return found

    @writes(ClearingIn, ClearingOut, examples=examples.CLEARING)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Turn all that makers owe each other into the fewest payments (the coordinator)."""
        facts = {"happened_at": self.now, **data}
        (made,) = _clearings([coop_clearing.clear_coop(actor, **facts)], actor)
        return made


def _clearings(rows: list[Clearing], actor: Actor) -> list[dict[str, Any]]:
    payments = coop_clearing.payments_of(actor, rows)
    return [
        {
            "id": str(row.id),
            "happened_at": row.happened_at,
            "note": row.note,
            "payments": [
                {
                    "payer": _party(due.maker_id, due.maker.name),
                    "payee": _party(due.to_maker_id, due.to_maker.name),
                    "amount": _money(due.amount, actor),
                }
                for due in payments.get(row.id, [])
            ],
            "at_least": row.at_least,
        }
        for row in rows
    ]
