"""How order rounds, pledges and what came of them are answered."""

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.rest.fields import Id, Moment, Shown, Text, plain
from api.rest.receipts import QuantityOut, quantity_json
from api.rest.transfers import PartyOut
from ledger.access import Actor
from ledger.models import OrderRound, RoundOrder, RoundPledge
from ledger.money import round_money
from ledger.roles import Verb
from ledger.round_buyers import Asked
from ledger.round_pledges import WhyDropped
from ledger.round_trouble import Trouble, trouble_of
from ledger.rounds import Pledged, left_out, stands, state_of

ROUND_STATES = ["open", "closed", "reckoned"]
TRIED_AGAIN = "Nothing is lost, and nothing is to be done: it is tried again by itself."
GIVEN_UP = (
    "Nothing is lost. Whoever runs the server finds out why in its log, and has it tried again by"
    " manage.py release_parked."
)
PER = "Of a kilogram or a piece."


class Amount(serializers.Serializer[Any]):
    grams = Shown(required=False)
    count = Shown(required=False)


class PledgedOut(serializers.Serializer[Any]):
    material = Id()
    material_name = Text()
    makers = serializers.IntegerField()
    quantity = Amount()


class OrderRoundBrief(serializers.Serializer[Any]):
    id = Id()
    name = Text()
    note = Text(allow_blank=True)
    state = serializers.ChoiceField(ROUND_STATES)
    buyer = PartyOut()
    buyer_agrees = serializers.BooleanField(
        allow_null=True, help_text="null as long as it has not answered."
    )
    buyer_said = Text(allow_blank=True, help_text="Why not.")
    buyer_answered_at = Moment(allow_null=True)
    opened_at = Moment()
    closes_at = Moment()
    time_zone = Text(help_text="Of the co-op.")
    closed_at = Moment(allow_null=True)
    reckoned_at = Moment(allow_null=True)


class AskedBuyerOut(serializers.Serializer[Any]):
    maker = PartyOut()
    asked_at = Moment()
    agrees = serializers.BooleanField(allow_null=True, help_text="null if it has not answered.")
    said = Text(allow_blank=True, help_text="Why not.")
    answered_at = Moment(allow_null=True)


class RoundTroubleOut(serializers.Serializer[Any]):
    failed = serializers.IntegerField(help_text="How often.")
    again_at = Moment(allow_null=True, help_text="null if it was given up.")
    remedy = Text()


class OrderRoundOut(OrderRoundBrief):
    budget = Shown(allow_null=True, help_text="If all orders come to more, nothing is ordered.")
    without = PartyOut(many=True, help_text="The suppliers of whom nothing is ordered.")
    trouble = RoundTroubleOut(
        allow_null=True, help_text="If the round is closed and could not be worked out."
    )
    asked = AskedBuyerOut(
        many=True, help_text="Who was asked to buy for all, the first one first; the last one buys."
    )
    pledged = PledgedOut(
        many=True,
        help_text="In all, for whoever acts for the co-op. A maker sees it after the closing, of"
        " materials that three or more have pledged, so that no pledge can be told from it.",
    )


class PledgeOut(serializers.Serializer[Any]):
    id = Id()
    round = Id()
    material = Id()
    material_name = Text()
    quantity = QuantityOut(allow_null=True)
    highest_price = Shown(allow_null=True, help_text=PER)
    takes_leftover = serializers.BooleanField()
    use_per_month = Amount(allow_null=True)
    withdrawn = serializers.BooleanField()
    counts = serializers.BooleanField(help_text="Whether it is your last of this material.")
    pledged_at = Moment()


class RoundPackOut(serializers.Serializer[Any]):
    offer = Id()
    material = Id()
    material_name = Text()
    packs = serializers.IntegerField()
    quantity = Amount(help_text="In all packs.")
    amount = Shown(help_text="Of all packs.")


class RoundOrderOut(serializers.Serializer[Any]):
    supplier = PartyOut()
    goods = Shown()
    freight = Shown()
    cost = Shown()
    lines = RoundPackOut(many=True)


class RoundBuyOut(RoundOrderOut):
    written_as = Text(allow_null=True, help_text="The number of the order in the buyer's books.")


class PlacedOrderOut(serializers.Serializer[Any]):
    order = Id()
    number = Text()
    supplier = Id()


class PlacedOrdersOut(serializers.Serializer[Any]):
    orders = PlacedOrderOut(many=True)


class RoundShareLineOut(serializers.Serializer[Any]):
    material = Id()
    material_name = Text()
    dropped = serializers.ChoiceField(
        [why.value for why in WhyDropped], allow_null=True, help_text="Why it took no part."
    )
    quantity = Amount(help_text="What was pledged and took part.")
    amount = Shown()
    price = Shown(allow_null=True, help_text=f"{PER} Freight included.")
    highest_price = Shown(allow_null=True, help_text="Told to its maker alone.")
    leftover = Amount(help_text="What comes on top of it out of the packs.")
    leftover_amount = Shown()


class RoundShareOut(serializers.Serializer[Any]):
    maker = PartyOut()
    alone = Shown(
        help_text="The cheapest orders that were found for its own pledges by the offers that the"
        " co-op shares."
    )
    own_alone = Shown(
        allow_null=True,
        help_text="The same by its own offers and terms as well, if that is less: then it pays no"
        " more than that, or its pledges take no part. Told to the maker alone.",
    )
    together = Shown(help_text="Its share of the round, never more than alone.")
    saved = Shown()
    leftover_amount = Shown(help_text="For leftover that it asked for, beside its share.")
    to_pay = Shown()
    lines = RoundShareLineOut(many=True)
    alone_orders = RoundOrderOut(many=True, help_text="Told to the maker alone.")


class RoundTotalsOut(serializers.Serializer[Any]):
    makers = serializers.IntegerField()
    apart = Shown(help_text="What they would pay in all, each alone.")
    together = Shown(help_text="What the orders cost.")
    leftover_sold = Shown(help_text="What is paid for leftover; the rest is split.")
    split = Shown()
    bound = Shown(
        allow_null=True,
        help_text="No orders for all cost less. null of rounds from before this was kept.",
    )


class GroupsOut(serializers.Serializer[Any]):
    makers = serializers.IntegerField(help_text="Of so many makers each.")
    groups = serializers.IntegerField(help_text="So many groups.")


class RoundFairnessOut(serializers.Serializer[Any]):
    core_is_empty = serializers.BooleanField(
        help_text="Whether some group pays more than by itself however the cost is split."
    )
    least_excess = Shown(
        help_text="By how much at most a group pays more than by itself, before cents; below zero"
        " every group saves at least so much. No split makes it less."
    )
    largest_excess = Shown(help_text="The same of groups of several, in whole cents.")
    groups = serializers.IntegerField(help_text="How many groups were looked at.")
    all_groups = serializers.IntegerField(help_text="How many there are.")
    looked_at = GroupsOut(many=True, help_text="The same by their size.")
    proven = serializers.BooleanField(help_text="Whether no cheaper orders are possible.")
    gap_percent = Shown(
        allow_null=True,
        help_text="Of no orders that were looked at more than so much might still be saved.",
    )


class RoundResultOut(serializers.Serializer[Any]):
    round = Id()
    reckoned_at = Moment(allow_null=True)
    totals = RoundTotalsOut(allow_null=True, help_text="null for a maker if fewer than three.")
    fairness = RoundFairnessOut(allow_null=True)
    shares = RoundShareOut(many=True, help_text="Your own; all for whoever acts for the co-op.")
    orders = RoundBuyOut(many=True, help_text="For the buyer and whoever acts for the co-op.")
    how = serializers.ListField(child=Text(), help_text="The same in words.")


def amount_json(quantity: Decimal, counted: bool) -> dict[str, Any]:
    shown = quantity_json("", quantity, counted)
    del shown["entered"]
    return shown


def brief_round_json(row: OrderRound, actor: Actor, now: datetime) -> dict[str, Any]:
    closed_at, reckoned_at = row.closed_at, row.reckoned_at  # type: ignore[attr-defined]
    answer = row.buyer_agrees, row.buyer_said, row.buyer_answered_at  # type: ignore[attr-defined]
    agrees, said, answered_at = answer
    return {
        "id": str(row.id),
        "name": row.name,
        "note": row.note,
        "state": state_of(row, now),
        "buyer": {"id": str(row.buying_id), "name": row.buying_name},
        "buyer_agrees": agrees,
        "buyer_said": said or "",
        "buyer_answered_at": answered_at,
        "opened_at": row.opened_at,
        "closes_at": row.closes_at,
        "time_zone": actor.time_zone,
        "closed_at": closed_at,
        "reckoned_at": reckoned_at,
    }


def asked_json(one: Asked) -> dict[str, Any]:
    return {
        "maker": {"id": str(one.maker_id), "name": one.maker_name},
        "asked_at": one.asked_at,
        "agrees": one.agrees,
        "said": one.said,
        "answered_at": one.answered_at,
    }


def round_json(
    row: OrderRound,
    asked: Iterable[Asked],
    pledged: Iterable[Pledged],
    actor: Actor,
    now: datetime,
) -> dict[str, Any]:
    told = [
        {
            "material": str(one.material.id),
            "material_name": one.material.name,
            "makers": one.makers,
            "quantity": amount_json(one.quantity, one.material.counted),
        }
        for one in pledged
    ]
    brief = brief_round_json(row, actor, now)
    trouble = trouble_of(row) if brief["state"] == "closed" else None
    return {
        **brief,
        "budget": None if row.budget is None else money(row.budget, actor.currency),
        "without": [{"id": str(one.id), "name": one.name} for one in left_out(actor, row)],
        "trouble": trouble and trouble_json(trouble),
        "asked": [asked_json(one) for one in asked],
        "pledged": told,
    }


def trouble_json(trouble: Trouble) -> dict[str, Any]:
    return {
        "failed": trouble.failed,
        "again_at": None if trouble.given_up else trouble.again_at,
        "remedy": GIVEN_UP if trouble.given_up else TRIED_AGAIN,
    }


def pledge_json(row: RoundPledge, actor: Actor) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "round": str(row.round_id),
        "material": str(row.material_id),
        "material_name": row.material.name,
        "quantity": None
        if row.quantity is None
        else quantity_json(row.entered, row.quantity, row.material.counted),
        "highest_price": plain(row.highest_price) if actor.may(Verb.SEE_COSTS) else None,
        "takes_leftover": row.takes_leftover,
        "use_per_month": None
        if row.use_per_month is None
        else amount_json(row.use_per_month, row.material.counted),
        "withdrawn": not stands(row),
        "counts": row.counts,  # type: ignore[attr-defined]
        "pledged_at": row.pledged_at,
    }


def order_json(row: RoundOrder, currency: str) -> dict[str, Any]:
    lines = [
        {
            "offer": str(line.offer_id),
            "material": str(line.offer.material_id),
            "material_name": line.offer.material.name,
            "packs": line.packs,
            "quantity": amount_json(line.quantity, line.offer.material.counted),
            "amount": money(line.amount, currency),
        }
        for line in sorted(row.lines.all(), key=lambda one: one.position)
    ]
    supplier = {"id": str(row.supplier_id), "name": row.supplier.name}
    placed = [one.number for one in row.placements.all()]
    return {
        "supplier": supplier,
        **costs_json(row.goods, row.freight, currency),
        "lines": lines,
        "written_as": placed[0] if placed else None,
    }


def costs_json(goods: Decimal, freight: Decimal, currency: str) -> dict[str, Any]:
    shown = {"goods": goods, "freight": freight, "cost": goods + freight}
    return {name: money(value, currency) for name, value in shown.items()}


def money(value: Decimal, currency: str) -> str:
    return f"{round_money(value, currency):f}"
