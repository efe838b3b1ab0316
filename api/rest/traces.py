"""Tracing a lot, both ways."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, reads
from api.rest.fields import Body, Choice, Id, Shown, Text
from api.rest.lots import STATUSES
from api.rest.stock import amount
from ledger import tracing
from ledger.access import Actor
from ledger.quantities import kept_in


class TraceQuery(Body):
    direction = Choice(["forward", "back"])


class InputOut(serializers.Serializer[Any]):
    lot = Id()
    grams = Shown(required=False)
    count = Shown(required=False)


TracedLot = type(
    "TracedLot",
    (serializers.Serializer,),
    {
        "lot": Id(),
        "code": Text(),
        "material": Id(),
        "material_name": Text(),
        "status": serializers.ChoiceField(STATUSES),
        "supplier": Id(allow_null=True),
        "supplier_lot": Text(allow_blank=True),
        "expires_on": serializers.DateField(allow_null=True),
        "on_hand": Shown(),
        # "from" is a word of the language, so it cannot be written as an attribute.
        "from": InputOut(many=True, help_text="What went straight into it."),
    },
)


class PlaceOut(serializers.Serializer[Any]):
    place = Text()
    quantity = Shown()


class BalanceOut(serializers.Serializer[Any]):
    unit = serializers.ChoiceField(["g", "each"])
    received = Shown(help_text="All of it that was received, made or found.")
    found = Shown(help_text="What counts found beyond the books.")
    accounted = Shown()
    difference = Shown(help_text="What the books do not find, or a count found gone.")
    places = PlaceOut(many=True)
    gone = PlaceOut(
        many=True, help_text="As what the books hold what nobody can find: it is in `difference`."
    )


class TraceOut(serializers.Serializer[Any]):
    lots = TracedLot(many=True)
    balance = BalanceOut()


class Traces(Resource):
    """Where a lot came from and went."""

    @reads(TraceQuery, TraceOut)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> dict[str, Any]:
        """Trace a lot back to its sources or forward to all that was made of it."""
        found = tracing.trace(actor, lot=id, direction=query["direction"])
        counted = {lot.id: lot.counted for lot in found.lots}
        return {
            "lots": [_lot(lot, counted) for lot in found.lots],
            "balance": _balance(found.balance, found.lot.material.counted),
        }


def _lot(lot: tracing.TracedLot, counted: dict[Any, bool]) -> dict[str, Any]:
    return {
        "lot": str(lot.id),
        "code": lot.code,
        "material": str(lot.material_id),
        "material_name": lot.material_name,
        "status": lot.status,
        "supplier": lot.supplier_id and str(lot.supplier_id),
        "supplier_lot": lot.supplier_lot,
        "expires_on": lot.expires_on,
        "on_hand": amount(lot.on_hand, lot.counted),
        "from": [
            {
                "lot": str(parent),
                "count" if counted[parent] else "grams": amount(quantity, counted[parent]),
            }
            for parent, quantity in lot.inputs
        ],
    }


def _balance(balance: tracing.Balance, counted: bool) -> dict[str, Any]:
    return {
        "unit": kept_in(counted),
        "received": amount(balance.received, counted),
        "found": amount(balance.found, counted),
        "accounted": amount(balance.accounted, counted),
        "difference": amount(balance.difference, counted),
        "places": _places(balance.places, counted),
        "gone": _places(balance.gone, counted),
    }


def _places(places: tuple[tuple[str, Decimal], ...], counted: bool) -> list[dict[str, Any]]:
    return [{"place": place, "quantity": amount(much, counted)} for place, much in places]
