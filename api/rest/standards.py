"""Standard costs of formula versions and of products."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import Body, DecimalText, Id, Moment, Shown, Text, Whole, listed, plain
from formulas import standards
from formulas.access import formula_for, product_for
from formulas.composition import left_after_loss
from formulas.models import StandardCost, StandardPrice
from formulas.standards import standards_of
from formulas.variances import cost_per_kg, grams_per_kg
from ledger.access import Actor

BASES = StandardPrice.Basis.values
AS_NOW = "Left out or null: as the product has it now."


class StandardPriceIn(Body):
    material = Id()
    price = DecimalText(
        least="0", most="1000000000", help_text="Of a kilogram, or of a piece of packaging."
    )


class StandardIn(Body):
    """What the standards of a version and of a product have in common."""

    valid_from = serializers.DateField(help_text="The first day on which it counts.")
    prices = listed(
        StandardPriceIn,
        most=200,
        required=False,
        help_text="What is left out costs what it costs now.",
    )
    note = Text(max_length=400, required=False, allow_blank=True)


class FormulaStandardIn(StandardIn):
    version = Whole(
        min_value=1, max_value=1_000_000, required=False, help_text="The one in force if left out."
    )


class StandardLabourIn(Body):
    minutes_per_batch = DecimalText(
        least="0", most="100000", required=False, allow_null=True, help_text=AS_NOW
    )
    minutes_per_unit = DecimalText(
        least="0", most="100000", required=False, allow_null=True, help_text=AS_NOW
    )
    hourly_rate = DecimalText(
        least="0", most="1000000", required=False, allow_null=True, help_text=AS_NOW
    )


class StandardOverheadIn(Body):
    per_batch = DecimalText(
        least="0", most="1000000", required=False, allow_null=True, help_text=AS_NOW
    )
    percent_of_materials = DecimalText(
        least="0",
        most="1000",
        places=4,
        required=False,
        allow_null=True,
        help_text=AS_NOW,
    )


class ProductStandardIn(StandardIn):
    labour = StandardLabourIn(required=False, allow_null=True)
    overhead = StandardOverheadIn(required=False, allow_null=True)


class StandardMaterialOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    percent = Shown(help_text="Of what is weighed in; 0 of what only stands in for another.")
    grams_per_kg = Shown(help_text="In a kilogram of output, through the expected loss.")
    price = Shown(help_text="Of a kilogram.")
    basis = serializers.ChoiceField(BASES, help_text="Where the price came from.")


class FormulaStandardOut(serializers.Serializer[Any]):
    id = Id()
    formula = Id()
    version = serializers.IntegerField()
    valid_from = serializers.DateField()
    process_loss_percent = Shown()
    materials = StandardMaterialOut(many=True)
    cost_per_kg = Shown(help_text="Of output, materials alone.")
    note = Text(allow_blank=True)
    person = Id()
    created_at = Moment()


class StandardPackagingOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    count = Shown(help_text="In one unit.")
    price = Shown(help_text="Of a piece.")
    basis = serializers.ChoiceField(BASES, help_text="Where the price came from.")


class StandardLabourOut(serializers.Serializer[Any]):
    minutes_per_batch = Shown()
    minutes_per_unit = Shown()
    hourly_rate = Shown()


class StandardOverheadOut(serializers.Serializer[Any]):
    per_batch = Shown()
    percent_of_materials = Shown()


class ProductStandardOut(serializers.Serializer[Any]):
    id = Id()
    product = Id()
    valid_from = serializers.DateField()
    packaging = StandardPackagingOut(many=True)
    packaging_per_unit = Shown()
    labour = StandardLabourOut()
    overhead = StandardOverheadOut()
    note = Text(allow_blank=True)
    person = Id()
    created_at = Moment()


class FormulaStandardQuery(Paged):
    version = serializers.IntegerField(min_value=1, max_value=1_000_000, required=False)


def formula_standard_json(row: StandardCost) -> dict[str, Any]:
    left, prices = left_after_loss(row.version.process_loss_percent), list(row.prices.all())
    return {
        "id": str(row.id),
        "formula": str(row.version.formula_id),
        "version": row.version.number,
        "valid_from": row.valid_from,
        "process_loss_percent": plain(row.version.process_loss_percent.normalize()),
        "materials": [
            {
                "material": str(one.material_id),
                "name": one.material.name,
                "percent": plain(one.share.normalize()),
                "grams_per_kg": plain(grams_per_kg(one.share, left)),
                "price": plain(one.price),
                "basis": one.basis,
            }
            for one in prices
        ],
        "cost_per_kg": plain(cost_per_kg([(one.share, one.price) for one in prices], left)),
        "note": row.note,
        "person": str(row.person_id),
        "created_at": row.created_at,
    }


def product_standard_json(row: StandardCost) -> dict[str, Any]:
    prices = list(row.prices.all())
    return {
        "id": str(row.id),
        "product": str(row.product_id),
        "valid_from": row.valid_from,
        "packaging": [
            {
                "material": str(one.material_id),
                "name": one.material.name,
                "count": plain(one.share.normalize()),
                "price": plain(one.price),
                "basis": one.basis,
            }
            for one in prices
        ],
        "packaging_per_unit": plain(sum((one.share * one.price for one in prices), Decimal(0))),
        "labour": {
            "minutes_per_batch": plain(row.minutes_per_batch.normalize()),
            "minutes_per_unit": plain(row.minutes_per_unit.normalize()),
            "hourly_rate": plain(row.hourly_rate),
        },
        "overhead": {
            "per_batch": plain(row.overhead_per_batch),
            "percent_of_materials": plain(row.overhead_percent.normalize()),
        },
        "note": row.note,
        "person": str(row.person_id),
        "created_at": row.created_at,
    }


class FormulaStandards(Resource):
    """What the versions of a formula should cost."""

    @reads(FormulaStandardQuery, page_of(FormulaStandardOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the standard costs of a formula's versions, the last that was set first."""
        rows = standards_of(actor).filter(version__formula=formula_for(actor, id))
        if "version" in query:
            rows = rows.filter(version__number=query["version"])
        return page(self.request, query, rows, formula_standard_json)

    @writes(FormulaStandardIn, FormulaStandardOut, examples=examples.FORMULA_STANDARD)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Set what a version should cost in materials from a day on, at given or today's costs."""
        given = {**data, "prices": _prices(data)}
        return formula_standard_json(standards.set_formula_standard(actor, formula=id, **given))


class ProductStandards(Resource):
    """What a product should cost beside its materials."""

    @reads(Paged, page_of(ProductStandardOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the standard costs of a product, the last that was set first."""
        rows = standards_of(actor).filter(product=product_for(actor, id))
        return page(self.request, query, rows, product_standard_json)

    @writes(ProductStandardIn, ProductStandardOut, examples=examples.PRODUCT_STANDARD)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Set what packaging, labour and overhead of a product should cost from a day on."""
        labour, overhead = data.get("labour") or {}, data.get("overhead") or {}
        kept = standards.set_product_standard(
            actor,
            product=id,
            valid_from=data["valid_from"],
            prices=_prices(data),
            policy=standards.Policy(
                **labour,
                overhead_per_batch=overhead.get("per_batch"),
                overhead_percent=overhead.get("percent_of_materials"),
            ),
            note=data.get("note", ""),
        )
        return product_standard_json(kept)


def _prices(data: dict[str, Any]) -> list[standards.GivenPrice]:
    return [standards.GivenPrice(**one) for one in data.get("prices", [])]
