"""The declaration of ingredients, of a product and of one batch."""

from typing import Any

from rest_framework import serializers

from api.operation import Resource, reads
from api.rest.fields import Body, Choice, DecimalText, Id, Shown, Text, plain
from formulas.declaration import Declaration, Group, Market, shown
from formulas.declaring import declare_batch, declare_product
from ledger.access import Actor

MARKETS = [market.value for market in Market]


class DeclarationQuery(Body):
    market = Choice(MARKETS, required=False, help_text="Whose rules and names; eu if left out.")
    water_lost_percent = DecimalText(
        least="0",
        most="99",
        required=False,
        help_text="Water that boils off, in percent of all that is weighed in; none if left out.",
    )


class IngredientOut(serializers.Serializer[Any]):
    inci_name = Text()
    percent = Shown(help_text="Of the finished product, by mass.")
    group = serializers.ChoiceField(
        [group.value for group in Group],
        help_text="Above 1 % the order is fixed, in the EU at 1 % too; of all else it is free.",
    )
    materials = serializers.ListField(
        child=Text(), help_text="Which bring it; none for an allergen named by itself."
    )


class AllergenOut(serializers.Serializer[Any]):
    inci_name = Text()
    percent = Shown()
    above_threshold = serializers.BooleanField()


class DeclarationOut(serializers.Serializer[Any]):
    text = Text(help_text="As it stands on the label.")
    market = serializers.ChoiceField(MARKETS)
    basis = serializers.ChoiceField(["formula", "plan", "weighed"])
    formula = Id()
    version = serializers.IntegerField()
    ingredients = IngredientOut(many=True)
    allergens = AllergenOut(many=True)
    threshold_percent = Shown(help_text="Above this an allergen is named in the EU.")
    notes = serializers.ListField(child=Text())


class ProductDeclaration(Resource):
    """What a product's label says it is made of."""

    @reads(DeclarationQuery, DeclarationOut)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> dict[str, Any]:
        """Declare the ingredients of a product, by the version of its formula in force."""
        declared, version = declare_product(actor, product=id, **asked(query))
        return declaration_json(declared, "formula", version.formula_id, version.number, query)


class BatchDeclaration(Resource):
    """What one batch is made of."""

    @reads(DeclarationQuery, DeclarationOut)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> dict[str, Any]:
        """Declare the ingredients of a batch: by what was weighed once it is finished."""
        declared, batch, weighed = declare_batch(actor, batch=id, **asked(query))
        basis, version = "weighed" if weighed else "plan", batch.version
        return declaration_json(declared, basis, version.formula_id, version.number, query)


def asked(query: dict[str, Any]) -> dict[str, Any]:
    """The facts of a query as the verbs take them."""
    names = ("market", "water_lost_percent")
    found = {name: query[name] for name in names if name in query}
    return found | {"market": Market(found.get("market", Market.EU))}


def declaration_json(
    declared: Declaration, basis: str, formula: Any, version: int, query: dict[str, Any]
) -> dict[str, Any]:
    return {
        "text": declared.text,
        "market": query.get("market", Market.EU.value),
        "basis": basis,
        "formula": str(formula),
        "version": version,
        "ingredients": [
            {
                "inci_name": one.inci_name,
                "percent": plain(one.shown),
                "group": one.group.value,
                "materials": list(one.materials),
            }
            for one in declared.ingredients
        ],
        "allergens": [
            {
                "inci_name": one.inci_name,
                "percent": plain(shown(one.percent)),
                "above_threshold": one.named,
            }
            for one in declared.allergens
        ],
        "threshold_percent": plain(shown(declared.threshold).normalize()),
        "notes": list(declared.notes),
    }
