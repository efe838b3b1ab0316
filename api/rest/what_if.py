"""What another price of a material would do."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, writes
from api.rest import examples
from api.rest.fields import Body, DecimalText, Id, Shown, Text, Whole, listed, plain
from formulas import what_if
from formulas.what_if import Change, Moved
from ledger.access import Actor


class ChangeIn(Body):
    material = Id(help_text="One that is bought.")
    price = DecimalText(
        least="0",
        most="1000000000",
        required=False,
        help_text="Of a kilogram, or of a piece of what is counted.",
    )
    change_percent = DecimalText(
        least="-100", most="100000", required=False, help_text="On what it costs now."
    )


class WhatIfIn(Body):
    materials = listed(ChangeIn, least=1, most=100)
    batch_units = Whole(
        min_value=1,
        max_value=1_000_000,
        required=False,
        help_text="For what is paid once a batch; as many as in the last one of each.",
    )
    margin_percent = DecimalText(
        least="0", most="99.99", required=False, help_text="Prices at this margin are told too."
    )
    limit = Whole(min_value=1, max_value=1000, required=False, help_text="Rows of each list; 100.")


class BeforeAfterOut(serializers.Serializer[Any]):
    old = Shown(allow_null=True, help_text="Null where a cost in it is not known.")
    new = Shown(allow_null=True)


class FormulaMovedOut(serializers.Serializer[Any]):
    formula = Id()
    name = Text()
    per_kg = BeforeAfterOut()


class ProductMovedOut(serializers.Serializer[Any]):
    product = Id()
    name = Text()
    per_kg = BeforeAfterOut()
    per_unit = BeforeAfterOut()
    price = BeforeAfterOut(help_text="At the margin asked; null where none is.")


class WhatIfOut(serializers.Serializer[Any]):
    formulas = FormulaMovedOut(many=True, help_text="Those that change most, first.")
    formulas_changed = serializers.IntegerField()
    products = ProductMovedOut(many=True)
    products_changed = serializers.IntegerField()


def moved_json(moved: Moved) -> dict[str, Any]:
    return {"old": plain(moved.old), "new": plain(moved.new)}


class WhatIf(Resource):
    """Other prices of materials, tried."""

    @writes(WhatIfIn, WhatIfOut, status=200, keyed=False, examples=examples.WHAT_IF)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """What other prices would do to all formulas and products; rounded, and nothing is kept."""
        given = {name: value for name, value in data.items() if name != "materials"}
        found = what_if.what_if(
            actor, changes=[Change(**one) for one in data["materials"]], **given
        )
        return {
            "formulas": [
                {
                    "formula": str(one.formula),
                    "name": one.name,
                    "per_kg": moved_json(one.per_kg),
                }
                for one in found.formulas
            ],
            "formulas_changed": found.formulas_changed,
            "products": [
                {
                    "product": str(one.product),
                    "name": one.name,
                    "per_kg": moved_json(one.per_kg),
                    "per_unit": moved_json(one.per_unit),
                    "price": moved_json(one.price),
                }
                for one in found.products
            ],
            "products_changed": found.products_changed,
        }
