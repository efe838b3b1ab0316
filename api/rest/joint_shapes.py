"""How the products that a batch made at once are sent with its finish, and shown."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.rest.fields import Body, Choice, DecimalText, Id, QuantityField, Shown, Text, listed, plain
from formulas.joint_costs import JointBase
from formulas.joint_products import JointDraft, JointProductDraft, joint_products_of
from formulas.models import Making
from ledger.access import Actor
from ledger.money import minor_unit, round_money, round_together
from ledger.roles import Verb

BASES = [base.value for base in JointBase]
FETCHES = "What all of it fetches; to be left out by mass."
STILL_COSTS = "What it takes to complete and to sell it; counts by net realisable value."


class JointProductIn(Body):
    """A product that was made as well, beside what the batch is for."""

    material = Id()
    quantity = QuantityField()
    sales_value = DecimalText(above="0", required=False, help_text=FETCHES)
    further_cost = DecimalText(least="0", required=False, help_text=STILL_COSTS)


class JointIn(Body):
    """All products of the batch: by what their cost is split, and the figures of the main one."""

    base = Choice(BASES, help_text="By what the cost of the batch is split among its products.")
    sales_value = DecimalText(above="0", required=False, help_text=FETCHES)
    further_cost = DecimalText(least="0", required=False, help_text=STILL_COSTS)
    products = listed(JointProductIn, most=20, least=1)


class JointProductOut(serializers.Serializer[Any]):
    lot = Id()
    code = Text()
    material = Id()
    entered = Text()
    grams = Shown()
    sales_value = Shown(allow_null=True)
    further_cost = Shown(allow_null=True)
    value = Shown(
        allow_null=True,
        help_text="Its part of the joint cost; of the main one before a declared loss.",
    )


class JointOut(serializers.Serializer[Any]):
    base = serializers.ChoiceField(BASES)
    products = JointProductOut(many=True, help_text="The main one first.")


def joint_in(data: dict[str, Any]) -> JointDraft | None:
    """The products of a batch as they were sent."""
    sent = data.get("joint")
    if not sent:
        return None
    products = [JointProductDraft(**one) for one in sent["products"]]
    return JointDraft(**{**sent, "products": products})


def joint_json(actor: Actor, making: Making) -> dict[str, Any] | None:
    """The products of a batch with what each carries; null for a batch of one product."""
    rows = joint_products_of(making)
    if not rows:
        return None
    costs = actor.may(Verb.SEE_COSTS)

    def amount(value: Decimal | None) -> str | None:
        return plain(round_money(value, actor.currency)) if costs and value is not None else None

    values = round_together([row.value for row in rows], step=minor_unit(actor.currency))
    products = [
        {
            "lot": str(row.lot_id),
            "code": row.lot.code,
            "material": str(row.lot.material_id),
            "entered": row.entered,
            "grams": plain(row.grams),
            "sales_value": amount(row.sales_value),
            "further_cost": amount(row.further_cost),
            "value": amount(value),
        }
        for row, value in zip(rows, values, strict=True)
    ]
    return {"base": making.joint_base, "products": products}
