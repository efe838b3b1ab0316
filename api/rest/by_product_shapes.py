"""How by-products are sent with a finish, and shown with what was made."""

from typing import Any

from rest_framework import serializers

from api.rest.fields import Body, DecimalText, Id, QuantityField, Shown, Text, plain
from formulas.by_products import ByProductDraft, by_products_of
from formulas.models import Making
from ledger.access import Actor
from ledger.money import round_money
from ledger.roles import Verb


class ByProductIn(Body):
    """What came out beside the main product, and what all of it will bring."""

    material = Id()
    quantity = QuantityField()
    nrv = DecimalText(
        least="0", help_text="Net realisable value: its price less what it takes to sell it."
    )


class ByProductOut(serializers.Serializer[Any]):
    lot = Id()
    code = Text()
    material = Id()
    entered = Text()
    grams = Shown()
    nrv = Shown(allow_null=True, help_text="Null for who may not see costs.")


def by_products_in(data: dict[str, Any]) -> list[ByProductDraft]:
    return [ByProductDraft(**one) for one in data.get("by_products", [])]


def by_products_json(actor: Actor, making: Making) -> list[dict[str, Any]]:
    costs = actor.may(Verb.SEE_COSTS)
    return [
        {
            "lot": str(row.lot_id),
            "code": row.lot.code,
            "material": str(row.lot.material_id),
            "entered": row.entered,
            "grams": plain(row.grams),
            "nrv": plain(round_money(row.nrv, actor.currency)) if costs else None,
        }
        for row in by_products_of(making)
    ]
