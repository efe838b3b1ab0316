"""Order rounds: ordering together, and what came of it."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import round_examples
from api.rest.fields import Body, DecimalText, Flag, Id, Moment, QuantityField, Text
from api.rest.round_results import result_json
from api.rest.round_shapes import (
    OrderRoundBrief,
    OrderRoundOut,
    PlacedOrdersOut,
    PledgeOut,
    RoundResultOut,
    brief_round_json,
    pledge_json,
    round_json,
)
from ledger import rounds
from ledger.access import Actor
from ledger.models import RoundPledge
from ledger.round_buyers import answer_as_buyer, ask_another, asked_in
from ledger.round_ordering import place_orders
from ledger.round_results import result_of

MOST_SUPPLIERS = 100


class OrderRoundIn(Body):
    name = Text(max_length=120)
    note = Text(max_length=400, required=False, allow_blank=True)
    closes_at = Moment(help_text="Until then makers may pledge.")
    buyer = Id(help_text="The maker that orders for all and receives; a maker names itself.")
    budget = DecimalText(
        above="0", required=False, help_text="If all orders come to more, nothing is ordered."
    )
    without = serializers.ListField(
        child=Id(),
        max_length=MOST_SUPPLIERS,
        required=False,
        help_text="Suppliers of whom nothing is ordered, neither together nor by anybody alone.",
    )


class PledgeIn(Body):
    material = Id()
    quantity = QuantityField(required=False, help_text="Left out: leftover alone.")
    highest_price = DecimalText(
        above="0",
        required=False,
        help_text="Of a kilogram or a piece, freight included. Above it the pledge takes no part.",
    )
    takes_leftover = Flag(
        required=False, help_text="Whether you buy what is left of packs at what the goods cost."
    )
    use_per_month = QuantityField(
        required=False,
        help_text="What you use of it. Where all who pledge it say so, no more is left over from"
        " packs than all use before it expires.",
    )


class PledgeWithdrawalIn(Body):
    material = Id()


class PlacedOrdersIn(Body):
    happened_at = Moment(required=False, help_text="When they were given; now, if left out.")
    note = Text(max_length=400, required=False, allow_blank=True)


class BuyerAnswerIn(Body):
    agrees = Flag(help_text="Whether your maker orders for all in its own name, and receives.")
    reason = Text(
        max_length=400, required=False, allow_blank=True, help_text="Why not; needed with a no."
    )


class BuyerIn(Body):
    buyer = Id(help_text="The maker that is asked to order for all and to receive.")


class OrderRounds(Resource):
    """Rounds of ordering together."""

    @reads(Paged, page_of(OrderRoundBrief))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List the rounds of the co-op, newest first."""
        rows = rounds.rounds_of(actor)
        return page(self.request, query, rows, lambda row: brief_round_json(row, actor, self.now))

    @writes(OrderRoundIn, OrderRoundOut, examples=round_examples.ORDER_ROUND)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Open a round: makers pledge until it closes, and then all is ordered as one."""
        opened = rounds.open_round(actor, now=self.now, **data)
        return _shown(self, actor, opened.id)


class OneOrderRound(Resource):
    """One round."""

    @reads(None, OrderRoundOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show a round and, as far as you may know it, what is pledged in all."""
        return _shown(self, actor, id)


class RoundClosings(Resource):
    """Closing a round before its time."""

    @writes(None, OrderRoundOut)
    def post(self, actor: Actor, id: str) -> dict[str, Any]:
        """Close a round: nothing is pledged any more, and the worker reckons it."""
        closed = rounds.close_round(actor, round=id, now=self.now)
        return _shown(self, actor, closed.id)


class BuyerAnswers(Resource):
    """What the maker that is to buy for all says to it."""

    @writes(BuyerAnswerIn, OrderRoundOut, examples=round_examples.BUYER_ANSWER)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Agree to buy for all in a round, or not; until its orders are written."""
        answered = answer_as_buyer(actor, round=id, now=self.now, **data)
        return _shown(self, actor, answered.id)


class RoundBuyers(Resource):
    """Who is asked to buy for all."""

    @writes(BuyerIn, OrderRoundOut, examples=round_examples.ROUND_BUYER)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Ask another maker to buy, where the one before declines or does not answer."""
        found = ask_another(actor, round=id, now=self.now, **data)
        return _shown(self, actor, found.id)


class RoundPledges(Resource):
    """What a maker pledges in a round; the others never see it."""

    @reads(Paged, page_of(PledgeOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List your pledges in a round, newest first, with what they took the place of."""
        rows = rounds.pledges_of(actor, id)
        return page(self.request, query, rows, lambda row: pledge_json(row, actor))

    @writes(PledgeIn, PledgeOut, examples=round_examples.PLEDGE)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Pledge so much of a material, in place of what you pledged of it before."""
        return _pledged(rounds.pledge(actor, round=id, now=self.now, **data), actor)


class PledgeWithdrawals(Resource):
    """Taking a pledge back."""

    @writes(PledgeWithdrawalIn, PledgeOut, examples=round_examples.PLEDGE_WITHDRAWAL)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Take your pledge of a material back, until the round closes."""
        return _pledged(rounds.withdraw_pledge(actor, round=id, now=self.now, **data), actor)


class PlacedRoundOrders(Resource):
    """The orders of a round in the buyer's own books."""

    @writes(PlacedOrdersIn, PlacedOrdersOut, examples=round_examples.PLACED_ORDERS)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Write an order for each supplier of the round, as its buyer."""
        written = place_orders(actor, round=id, **{"happened_at": self.now, **data})
        return {
            "orders": [
                {"order": str(row.id), "number": row.number, "supplier": str(row.supplier_id)}
                for row in written
            ]
        }


class RoundResults(Resource):
    """What came of a round."""

    @reads(None, RoundResultOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show what you get and pay, beside what you would have paid alone, and why."""
        return result_json(result_of(actor, id), actor.currency)


def _shown(resource: Resource, actor: Actor, id: Any) -> dict[str, Any]:
    row = rounds.round_for(actor, id)
    asked, pledged = asked_in(actor, row), rounds.totals_of(actor, row)
    return round_json(row, asked, pledged, actor, resource.now)


def _pledged(row: RoundPledge, actor: Actor) -> dict[str, Any]:
    row.counts = True  # type: ignore[attr-defined]
    return pledge_json(row, actor)
