"""What a unit of a product costs, and what it is sold for."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, Final

from rest_framework import serializers

from api.operation import Resource, reads, writes
from api.rest import examples
from api.rest.fields import Body, Choice, DecimalText, Flag, Id, Moment, Shown, Text, Whole, listed
from api.rest.fields import plain as shown
from formulas import prices, unit_costs
from formulas.costing import shown as in_coins
from formulas.ladder import BreakEven, Channel, ChannelPrice, Direction, Ending, Including
from formulas.prices import Cost, CostFrom, Fixed
from formulas.unit_costs import Made, Share
from ledger.access import Actor
from ledger.present_costs import Basis
from ledger.quantities import kept_in

MOST = "1000000000"
TAX_CAUTION: Final = (
    "Which tax applies, and on what, differs by place; check your local authority, and ask a"
    " licensed tax adviser before relying on this."
)


PLAIN_TERMS: Final = (
    *("margin_percent", "markup_percent", "price"),
    *("fee_percent", "fixed_fee", "tax_percent"),
)
SUMS: Final = ("materials", "packaging", "labour", "overhead", "total")


class EndingIn(Body):
    every = DecimalText(above="0", most=MOST, help_text='The step, such as "1" or "0.05".')
    ends_in = DecimalText(least="0", most=MOST, required=False, help_text='Such as "0.95".')
    direction = Choice(choices=[one.value for one in Direction], required=False)


class TermsIn(Body):
    """How a price is made: exactly one of margin, markup and price."""

    margin_percent = DecimalText(
        least="0", most="100", required=False, help_text="Of the price, after the fees."
    )
    markup_percent = DecimalText(
        least="0", most="100000", required=False, help_text="On the cost; fees come out of it."
    )
    price = DecimalText(above="0", most=MOST, required=False, help_text="As the list shows it.")
    fee_percent = DecimalText(least="0", most="100", required=False)
    fixed_fee = DecimalText(least="0", most=MOST, required=False)
    fee_on = Choice(
        choices=[one.value for one in Including],
        required=False,
        help_text="Whether the fee is taken from the price without tax (net) or with it.",
    )
    tax_percent = DecimalText(least="0", most="100", required=False, help_text="On the net price.")
    shown = Choice(
        choices=[one.value for one in Including],
        required=False,
        help_text="What the list shows, and what the ending and a given price are of; gross.",
    )
    ending = EndingIn(required=False, allow_null=True)


class CostIn(Body):
    """The cost that is built on."""

    unit_cost = DecimalText(
        above="0", most=MOST, required=False, help_text="If left out, as cost_from says."
    )
    cost_from = Choice(
        choices=[CostFrom.LAST.value, CostFrom.PRESENT.value],
        required=False,
        help_text="The last batch or fill, or today's costs of all materials; the last.",
    )
    units = Whole(
        min_value=1, max_value=1_000_000, required=False, help_text="A batch's, for present costs."
    )
    confirm_below_cost = Flag(required=False)


class PriceIn(CostIn, TermsIn):
    pass


class ChannelIn(TermsIn):
    name = Text(max_length=60)


class FixedIn(Body):
    cost = DecimalText(least="0", most=MOST, help_text="What is paid whatever is sold.")
    variable_cost = DecimalText(
        least="0", most=MOST, required=False, help_text="Of a unit; the unit cost if left out."
    )
    target_profit = DecimalText(least="0", most=MOST, required=False)
    batch_units = Whole(min_value=1, max_value=1_000_000, required=False)


class LadderIn(CostIn):
    channels = listed(ChannelIn, least=1, most=30)
    fixed = FixedIn(required=False, allow_null=True, help_text="For the break-even.")


class ListedOut(serializers.Serializer[Any]):
    net = Shown()
    tax = Shown()
    gross = Shown()
    fees = Shown()
    left = Shown(help_text="After fees and the unit cost.")
    margin_percent = Shown(help_text="left ÷ net.")
    markup_percent = Shown(help_text="(net - unit cost) ÷ unit cost.")


class PriceOut(serializers.Serializer[Any]):
    unit_cost = Shown()
    price = Shown(help_text="Without tax, before it is rounded.")
    margin_percent = Shown()
    markup_percent = Shown()
    listed = ListedOut(help_text="At the minor unit, with its ending; net + tax = gross.")
    below_cost = serializers.BooleanField()
    cautions = serializers.ListField(child=Text())


class BreakEvenOut(serializers.Serializer[Any]):
    units = Shown()
    whole_units = serializers.IntegerField()
    batches = serializers.IntegerField(allow_null=True)
    sales = Shown(help_text="Net.")


class RungOut(PriceOut):
    name = Text()
    break_even = BreakEvenOut(
        allow_null=True, help_text="Null where nothing is asked, or no volume would do."
    )


class LadderOut(serializers.Serializer[Any]):
    unit_cost = Shown()
    cost_from = Choice(choices=[one.value for one in CostFrom])
    channels = RungOut(many=True)


class UnitCostQuery(Body):
    units = serializers.IntegerField(
        min_value=1,
        max_value=1_000_000,
        required=False,
        help_text="The batch's size; that of the last batch, or 100.",
    )


class CostShareOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    quantity = Shown(help_text="Grams or pieces in one unit.")
    unit = Choice(choices=["g", "each"])
    cost = Shown(help_text="Of a kilogram, or of a piece.")
    basis = Choice(choices=[one.value for one in Basis if one is not Basis.UNKNOWN])
    value = Shown(help_text="In one unit.")


class MadeOut(serializers.Serializer[Any]):
    batch = Id(allow_null=True)
    fill = Id(allow_null=True)
    lot = Id()
    happened_at = Moment()
    units = serializers.IntegerField()
    per_unit = Shown()


class BatchSumOut(serializers.Serializer[Any]):
    materials = Shown()
    packaging = Shown()
    labour = Shown()
    overhead = Shown()
    total = Shown()


class UnitCostOut(serializers.Serializer[Any]):
    version = serializers.IntegerField(help_text="Of the formula.")
    units = serializers.IntegerField(help_text="In the batch.")
    fill_grams = Shown()
    per_unit = Shown()
    per_kg = Shown(help_text="Of bulk, without packaging.")
    batch = BatchSumOut()
    materials = CostShareOut(many=True)
    packaging = CostShareOut(many=True)
    last = MadeOut(many=True, help_text="The last batches and fills, newest first.")


def channel_of(data: dict[str, Any], name: str) -> Channel:
    """A channel as it was sent."""
    terms: dict[str, Any] = {field: data[field] for field in PLAIN_TERMS if field in data}
    for field in ("fee_on", "shown"):
        if field in data:
            terms[field] = Including(data[field])
    ending = data.get("ending")
    if ending is not None:
        direction = Direction(ending.get("direction", Direction.UP))
        terms["ending"] = Ending(ending["every"], ending.get("ends_in", Decimal(0)), direction)
    return Channel(name=name, **terms)


def cost_of(data: dict[str, Any]) -> Cost:
    """The cost to build on, as it was sent."""
    source = CostFrom(data.get("cost_from", CostFrom.LAST))
    return Cost(data.get("unit_cost"), source, data.get("units"))


def price_json(priced: ChannelPrice) -> dict[str, Any]:
    on_list = priced.listed
    return {
        "unit_cost": shown(priced.unit_cost),
        "price": shown(priced.price),
        "margin_percent": shown(priced.margin_percent),
        "markup_percent": shown(priced.markup_percent),
        "listed": {name: shown(getattr(on_list, name)) for name in on_list.__slots__},
        "below_cost": priced.below_cost,
        "cautions": [TAX_CAUTION] if on_list.tax else [],
    }


def break_even_json(volume: BreakEven | None) -> dict[str, Any] | None:
    if volume is None:
        return None
    return {
        "units": shown(volume.units),
        "whole_units": volume.whole_units,
        "batches": volume.batches,
        "sales": shown(volume.sales),
    }


def shares_json(shares: Sequence[Share]) -> list[dict[str, Any]]:
    return [
        {
            "material": str(share.cost.material_id),
            "name": share.cost.name,
            "quantity": shown(share.quantity),
            "unit": kept_in(share.cost.counted),
            "cost": shown(share.cost.shown),
            "basis": share.cost.basis.value,
            "value": shown(share.value),
        }
        for share in shares
    ]


def made_json(made: Made) -> dict[str, Any]:
    return {
        "batch": made.batch_id and str(made.batch_id),
        "fill": made.fill_id and str(made.fill_id),
        "lot": str(made.lot_id),
        "happened_at": made.happened_at,
        "units": made.units,
        "per_unit": shown(made.per_unit),
    }


class Prices(Resource):
    """The price of a product."""

    @writes(PriceIn, PriceOut, status=200, keyed=False, examples=examples.PRICE)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """The price from a margin (of the price, after fees) or from a markup (on the cost)."""
        priced = prices.price_product(
            actor,
            product=id,
            channel=channel_of(data, "The price"),
            cost=cost_of(data),
            confirm_below_cost=data.get("confirm_below_cost", False),
        )
        return price_json(priced)


class Ladders(Resource):
    """The prices of a product in several channels."""

    @writes(LadderIn, LadderOut, status=200, keyed=False, examples=examples.LADDER)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Wholesale, retail and more on one cost, each with what breaks even; nothing is kept."""
        fixed = data.get("fixed")
        ladder = prices.price_ladder(
            actor,
            product=id,
            channels=[channel_of(one, one["name"]) for one in data["channels"]],
            cost=cost_of(data),
            fixed=fixed and Fixed(**fixed),
            confirm_below_cost=data.get("confirm_below_cost", False),
        )
        return {
            "unit_cost": shown(ladder.unit_cost),
            "cost_from": ladder.cost_from.value,
            "channels": [
                {
                    "name": rung.priced.name,
                    **price_json(rung.priced),
                    "break_even": break_even_json(rung.break_even),
                }
                for rung in ladder.rungs
            ],
        }


class UnitCosts(Resource):
    """The cost of a product."""

    @reads(UnitCostQuery, UnitCostOut)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> dict[str, Any]:
        """What a unit costs: as planned today from all materials, and as it last came out."""
        found = unit_costs.unit_cost_of(actor, product=id, units=query.get("units"))
        coins = in_coins(found.cost, actor.currency)
        return {
            "version": found.version.number,
            "units": found.units,
            "fill_grams": shown(found.fill_grams),
            "per_unit": shown(found.cost.per_unit),
            "per_kg": shown(found.cost.per_kg),
            "batch": {name: shown(getattr(coins, name)) for name in SUMS},
            "materials": shares_json(found.materials),
            "packaging": shares_json(found.packaging),
            "last": [made_json(made) for made in found.last],
        }
