"""Products: what is sold, what units of it need, and at what price."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api import etags
from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.caution_shapes import StepCautionOut, cautions_json
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    Flag,
    Id,
    Moment,
    QuantityField,
    Shown,
    Text,
    Whole,
    listed,
    plain,
)
from api.rest.scaling_shapes import NeedOut, ScaledLineOut, scaling_json
from formulas import balances, products
from formulas.access import product_for, products_of, version_for
from formulas.caution_facts import of_product
from formulas.labelling import LabelDraft
from formulas.models import Product
from ledger.access import Actor, day_of
from ledger.roles import Verb

UNSEEN_IN = "Left out or null: none; but from who may not see costs, what it was before."
UNSEEN = "Null for who may not see costs."


class ProductFillIn(Body):
    nominal = QuantityField(help_text="What the label says.")
    overfill_percent = DecimalText(least="0", most="100", required=False)


class PackagingIn(Body):
    material = Id()
    quantity = QuantityField(help_text="For one unit.")


class LabourIn(Body):
    minutes_per_batch = DecimalText(least="0", most="100000", required=False)
    minutes_per_unit = DecimalText(least="0", most="100000", required=False)
    hourly_rate = DecimalText(least="0", most="1000000", allow_null=True, help_text=UNSEEN_IN)


class OverheadIn(Body):
    per_batch = DecimalText(
        least="0", most="1000000", required=False, allow_null=True, help_text=UNSEEN_IN
    )
    percent_of_materials = DecimalText(
        least="0", most="1000", required=False, allow_null=True, help_text=UNSEEN_IN
    )


class LabelIn(Body):
    gtin = Text(
        max_length=14, required=False, allow_blank=True, help_text="8, 12, 13 or 14 digits."
    )
    months_after_opening = Whole(min_value=1, max_value=120, required=False, allow_null=True)
    function = Text(max_length=120, required=False, allow_blank=True)
    warnings = Text(max_length=1000, required=False, allow_blank=True)
    made_by = Text(
        max_length=300,
        required=False,
        allow_blank=True,
        help_text="Name and address of who answers for it; the maker's name if left out.",
    )
    report_to = Text(
        max_length=300,
        required=False,
        allow_blank=True,
        help_text="An address, a telephone number or a page where to report what went wrong.",
    )
    safety_file = Text(
        max_length=300,
        required=False,
        allow_blank=True,
        help_text="Where the safety report or file lies.",
    )
    notified_as = Text(
        max_length=120,
        required=False,
        allow_blank=True,
        help_text="Its reference with the authority.",
    )
    professional_only = Flag(
        required=False, help_text="Only licensed professionals are to use it: its label says so."
    )


class ProductIn(Body):
    name = Text(max_length=120)
    formula = Id()
    fill = ProductFillIn()
    packaging = listed(PackagingIn, most=30)
    labour = LabourIn(required=False, allow_null=True)
    overhead = OverheadIn(required=False, allow_null=True)
    use = Choice(Product.Use.values, required=False, allow_null=True)
    areas = serializers.ListField(
        child=Choice(Product.Area.values),
        required=False,
        max_length=10,
        help_text="What it is used on, where that asks for more care.",
    )
    labelling = LabelIn(required=False)


class PackagingOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    count = Shown()


class ProductFillOut(serializers.Serializer[Any]):
    nominal = Text()
    overfill_percent = Shown()


class LabourOut(serializers.Serializer[Any]):
    minutes_per_batch = Shown()
    minutes_per_unit = Shown()
    hourly_rate = Shown(allow_null=True, help_text=UNSEEN)


class OverheadOut(serializers.Serializer[Any]):
    per_batch = Shown(allow_null=True, help_text=UNSEEN)
    percent_of_materials = Shown(allow_null=True, help_text=UNSEEN)


class LabelOut(serializers.Serializer[Any]):
    gtin = Text(allow_blank=True, help_text="As 14 digits.")
    months_after_opening = serializers.IntegerField(allow_null=True)
    function = Text(allow_blank=True)
    warnings = Text(allow_blank=True)
    made_by = Text(allow_blank=True)
    report_to = Text(allow_blank=True)
    safety_file = Text(allow_blank=True)
    notified_as = Text(allow_blank=True)
    professional_only = serializers.BooleanField()


class ProductOut(serializers.Serializer[Any]):
    id = Id()
    name = Text()
    formula = Id()
    material = Id(help_text="What filling makes, counted.")
    fill = ProductFillOut()
    packaging = PackagingOut(many=True)
    labour = LabourOut()
    overhead = OverheadOut()
    use = serializers.ChoiceField(Product.Use.values, allow_null=True)
    areas = serializers.ListField(child=serializers.ChoiceField(Product.Area.values))
    labelling = LabelOut()
    version = serializers.IntegerField()
    created_at = Moment()


class ProductFull(ProductOut):
    cautions = StepCautionOut(many=True)


class ProductQuery(Paged):
    name = Text(max_length=120, required=False, help_text="Part of the name.")


class UnitsIn(Body):
    units = Whole(min_value=1, max_value=1_000_000)
    on = serializers.DateField(required=False, help_text="What can be had on this day; today.")


class PackagingNeed(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    count = Shown()
    available = Shown()
    short = Shown()


class ProductScaling(serializers.Serializer[Any]):
    version = serializers.IntegerField()
    units = serializers.IntegerField()
    fill_grams = Shown(help_text="Of one unit, overfill included.")
    batch_grams = Shown()
    output_grams = Shown(help_text="Of all units.")
    lines = ScaledLineOut(many=True)
    materials = NeedOut(many=True)
    packaging = PackagingNeed(many=True)


def draft_of(data: dict[str, Any]) -> products.ProductDraft:
    """A product as it was sent."""
    labour, overhead = data.get("labour") or {}, data.get("overhead") or {}
    return products.ProductDraft(
        name=data["name"],
        formula=data["formula"],
        nominal=data["fill"]["nominal"],
        overfill_percent=data["fill"].get("overfill_percent", Decimal(0)),
        packaging=[products.PackagingDraft(**item) for item in data["packaging"]],
        minutes_per_batch=labour.get("minutes_per_batch", Decimal(0)),
        minutes_per_unit=labour.get("minutes_per_unit", Decimal(0)),
        hourly_rate=labour.get("hourly_rate"),
        overhead_per_batch=overhead.get("per_batch"),
        overhead_percent=overhead.get("percent_of_materials"),
        use=data.get("use") or "",
        areas=data.get("areas", ()),
        label=LabelDraft(**data.get("labelling", {})),
    )


def product_json(row: Product, actor: Actor) -> dict[str, Any]:
    costs = actor.may(Verb.SEE_COSTS)
    return {
        "id": str(row.id),
        "name": row.name,
        "formula": str(row.formula_id),
        "material": str(row.material_id),
        "fill": {
            "nominal": row.fill_entered,
            "overfill_percent": plain(row.overfill_percent.normalize()),
        },
        "packaging": [
            {
                "material": str(item.material_id),
                "name": item.material.name,
                "count": plain(item.quantity.normalize()),
            }
            for item in sorted(row.packaging.all(), key=lambda item: item.position)
        ],
        "labour": {
            "minutes_per_batch": plain(row.minutes_per_batch.normalize()),
            "minutes_per_unit": plain(row.minutes_per_unit.normalize()),
            "hourly_rate": plain(row.hourly_rate) if costs else None,
        },
        "overhead": {
            "per_batch": plain(row.overhead_per_batch) if costs else None,
            "percent_of_materials": plain(row.overhead_percent.normalize()) if costs else None,
        },
        "use": row.use or None,
        "areas": row.areas,
        "labelling": {
            "gtin": row.gtin,
            "months_after_opening": row.months_after_opening,
            "function": row.label_function,
            "warnings": row.label_warnings,
            "made_by": row.made_by,
            "report_to": row.report_to,
            "safety_file": row.safety_file,
            "notified_as": row.notified_as,
            "professional_only": row.professional_only,
        },
        "version": row.version,
        "created_at": row.created_at,
    }


class Products(Resource):
    """The maker's products."""

    @reads(ProductQuery, page_of(ProductOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List products, newest first."""
        rows = products_of(actor)
        if "name" in query:
            rows = rows.filter(name__icontains=query["name"])
        return page(self.request, query, rows, lambda row: product_json(row, actor))

    @writes(ProductIn, ProductFull, examples=examples.PRODUCT_IN)
    def post(self, actor: Actor, data: dict[str, Any]) -> Sent:
        """Add a product: a fill of a formula in its packaging."""
        product = products.add_product(actor, draft_of(data))
        return _product(product_for(actor, product.id), actor)


class OneProduct(Resource):
    """One product."""

    @reads(None, ProductFull)
    def get(self, actor: Actor, id: str) -> Sent:
        """Show a product."""
        return _product(product_for(actor, id), actor)

    @writes(ProductIn, ProductFull, status=200, keyed=False, edits=True)
    def put(self, actor: Actor, data: dict[str, Any], id: str) -> Sent:
        """Change a product (If-Match with its ETag); planned batches keep what they had."""
        version = etags.expected_version(self.request, id)
        products.change_product(actor, product=id, expected_version=version, draft=draft_of(data))
        return _product(product_for(actor, id), actor)


class UnitScaling(Resource):
    """What units of a product need."""

    @writes(UnitsIn, ProductScaling, status=200, keyed=False, examples=examples.UNITS)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Scale to units, packaging included; nothing is kept."""
        needs = balances.scale_product(
            actor, product=id, units=data["units"], day=data.get("on", day_of(actor, self.now))
        )
        packaging = [
            {
                "material": str(need.material.id),
                "name": need.material.name,
                "count": plain(need.quantity.quantize(1)),
                "available": plain(need.available.quantize(1)),
                "short": plain(need.short.quantize(1)),
            }
            for need in needs.packaging
        ]
        return {
            **scaling_json(needs),
            "units": needs.units,
            "fill_grams": plain(needs.fill_grams),
            "packaging": packaging,
        }


def _product(row: Product, actor: Actor) -> Sent:
    version = version_for(actor, row.formula_id)
    body = {**product_json(row, actor), "cautions": cautions_json(of_product(row, version))}
    return Sent(body, headers={"ETag": etags.etag(row.id, row.version)})
