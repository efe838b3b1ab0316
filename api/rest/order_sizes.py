"""How much of a material to order at a time, offer by offer."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, writes
from api.rest import order_examples
from api.rest.fields import Body, DecimalText, Id, Shown, Text, plain, shortest
from api.rest.transfers import PartyOut
from ledger.access import Actor
from ledger.money import round_money
from ledger.order_sizes import OrderSize, order_sizes
from ledger.quantities import kept_in


class OrderSizesIn(Body):
    per_order = DecimalText(
        above="0",
        most="1000000",
        help_text="What an order costs beside its goods, such as freight and the work of it.",
    )
    keeping_percent = DecimalText(
        least="0.01", most="1000", help_text="Of the price, what it costs to keep goods a year."
    )


class OrderSizeOut(serializers.Serializer[Any]):
    offer = Id()
    supplier = PartyOut()
    pack = Text(help_text="As it was entered.")
    packs = serializers.IntegerField()
    quantity = Shown(help_text="In all packs.")
    exact = Shown(help_text="Before whole packs.")
    cost = Shown(help_text="In a year: goods, orders and keeping.")
    days = Shown(help_text="How long an order lasts.")
    by_shelf_life = serializers.BooleanField(
        help_text="Whether it would be more, if the goods kept for longer."
    )


class OrderSizesOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    unit = serializers.ChoiceField(["g", "each"])
    use = Shown(help_text="In a year, by the last 26 weeks.")
    sizes = OrderSizeOut(many=True, help_text="By offer, the cheapest first.")


class OrderSizes(Resource):
    """The usual size of an order of a material."""

    @writes(OrderSizesIn, OrderSizesOut, status=200, keyed=False, examples=order_examples.SIZES)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """How much to order at a time, in whole packs of each offer; nothing is kept.

        The economic order quantity with its price breaks. Of one material alone: freight and least
        amounts that several share are the order plan's.
        """
        found = order_sizes(actor, material=id, now=self.now, **data)
        return {
            "material": str(found.material.id),
            "name": found.material.name,
            "unit": kept_in(found.material.counted),
            "use": shortest(round(found.use, 6)),
            "sizes": [_size(one, actor) for one in found.sizes],
        }


def _size(one: OrderSize, actor: Actor) -> dict[str, Any]:
    offer = one.offer
    return {
        "offer": str(offer.offer),
        "supplier": {"id": str(offer.supplier), "name": offer.supplier_name},
        "pack": offer.entered,
        "packs": one.packs,
        "quantity": shortest(one.quantity),
        "exact": shortest(round(one.exact, 6)),
        "cost": plain(round_money(one.cost, actor.currency)),
        "days": shortest(round(one.days, 1)),
        "by_shelf_life": one.by_shelf_life,
    }
