"""Materials and suppliers, shared by the makers of a co-op."""

from typing import Any

from rest_framework import serializers

from api import etags
from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    DensityIn,
    Flag,
    Id,
    MailAddress,
    Moment,
    QuantityField,
    Shown,
    Text,
    Whole,
    listed,
    plain,
    shortest,
)
from ledger import catalogue
from ledger.access import (
    Actor,
    material_for,
    materials_visible_to,
    supplier_for,
    suppliers_visible_to,
)
from ledger.models import Material, MaterialPart, Supplier
from ledger.models.catalogue import CAUTIONS, FUNCTIONS, MOST_DAYS_OPEN, USED_AS
from ledger.roles import Verb

FORMULAS = ["lot", "fifo", "average"]


class PartIn(Body):
    inci_name = Text(max_length=200)
    percent = DecimalText(above="0", most="100")

    def to_internal_value(self, data: Any) -> catalogue.PartFacts:
        return catalogue.PartFacts(**super().to_internal_value(data))


class MaximumIn(Body):
    kind = Choice(USED_AS, help_text="How or where such a product is used.")
    max_percent = DecimalText(above="0", most="100")
    category = Text(
        max_length=120, required=False, allow_blank=True, help_text="As the certificate calls it."
    )

    def to_internal_value(self, data: Any) -> catalogue.MaximumFacts:
        return catalogue.MaximumFacts(**super().to_internal_value(data))


class MaterialIn(Body):
    name = Text(max_length=200)
    inci_name = Text(max_length=200, required=False, allow_blank=True)
    cas_number = Text(max_length=20, required=False, allow_blank=True)
    measured_by = Choice(["mass", "count"])
    density = DensityIn(required=False, allow_null=True)
    cost_class = Text(
        max_length=60, required=False, help_text="One cost formula holds for a class."
    )
    cost_formula = Choice(FORMULAS, required=False, allow_null=True)
    stocked = Flag(required=False, help_text="False for water and the like, which need no lot.")
    cost_per_kg = DecimalText(least="0", required=False, allow_null=True)
    cost_source = Text(max_length=200, required=False, allow_blank=True)
    shelf_life_days = Whole(min_value=1, max_value=36_500, required=False, allow_null=True)
    use_within_days = Whole(
        min_value=1,
        max_value=MOST_DAYS_OPEN,
        required=False,
        allow_null=True,
        help_text="Once it is open, whatever its expiry says; counted from the opening. Where none"
        " were stated before, what is open already ends by them with every maker. For what is"
        " weighed out of a container, not for pieces.",
    )
    mass_each = QuantityField(required=False, allow_null=True)
    declared_as = Choice(
        Material.DeclaredAs.values,
        required=False,
        help_text="On labels: colourants stand last; absent is what does not stay in the product.",
    )
    cautions = serializers.ListField(
        child=Choice(CAUTIONS),
        max_length=20,
        required=False,
        help_text="What asks for care with it.",
    )
    min_percent = DecimalText(least="0", most="100", required=False, allow_null=True)
    max_percent = DecimalText(
        above="0", most="100", required=False, allow_null=True, help_text="By its certificate."
    )
    certificate_category = Text(max_length=120, required=False, allow_blank=True)
    maxima = listed(
        MaximumIn,
        most=len(USED_AS),
        required=False,
        help_text="By its certificate, for each kind of product; before `max_percent`.",
    )
    certificate_until = serializers.DateField(required=False, allow_null=True)
    composition = listed(
        PartIn, most=100, required=False, help_text="Of a blend, for labels: it makes 100 %."
    )
    allergens = listed(
        PartIn, most=100, required=False, help_text="By its certificate, in percent of it."
    )
    function = Choice(["", *FUNCTIONS], required=False, help_text="Its work in a formula.")
    brings = serializers.ListField(
        child=Choice(catalogue.BROUGHT),
        max_length=len(catalogue.BROUGHT),
        required=False,
        allow_null=True,
        help_text="What it carries beside its active matter; null if that is not known.",
    )


class MaterialChange(MaterialIn):
    name = Text(max_length=200, required=False)
    measured_by = Choice(["mass", "count"], required=False)


class DensityOut(serializers.Serializer[Any]):
    value = Shown(help_text="g/mL")
    at = Shown(allow_null=True, help_text="degC")
    entered = Text()


class PartOut(serializers.Serializer[Any]):
    inci_name = Text()
    percent = Shown()


class MaximumOut(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(USED_AS)
    max_percent = Shown()
    category = Text(allow_blank=True)


class MaterialOut(serializers.Serializer[Any]):
    id = Id()
    name = Text()
    inci_name = Text(allow_blank=True)
    cas_number = Text(allow_blank=True)
    measured_by = serializers.ChoiceField(["mass", "count"])
    density = DensityOut(allow_null=True)
    cost_class = Text()
    cost_formula = serializers.ChoiceField(FORMULAS, allow_null=True)
    stocked = serializers.BooleanField()
    cost_per_kg = Shown(allow_null=True, help_text="Null also for who may not see costs.")
    cost_source = Text(allow_blank=True)
    shelf_life_days = serializers.IntegerField(allow_null=True)
    use_within_days = serializers.IntegerField(allow_null=True, help_text="Once it is open.")
    mass_each = Shown(allow_null=True, help_text="g")
    declared_as = serializers.ChoiceField(Material.DeclaredAs.values)
    composition = PartOut(many=True)
    allergens = PartOut(many=True)
    function = Text(allow_blank=True)
    brings = serializers.ListField(child=Text(), allow_null=True)
    cautions = serializers.ListField(child=serializers.ChoiceField(CAUTIONS))
    min_percent = Shown(allow_null=True)
    max_percent = Shown(allow_null=True)
    certificate_category = Text(allow_blank=True)
    maxima = MaximumOut(many=True)
    certificate_until = serializers.DateField(allow_null=True)
    own = serializers.BooleanField(help_text="Made by the maker, and seen by it alone.")
    version = serializers.IntegerField()
    created_at = Moment()


class MaterialQuery(Paged):
    name = Text(max_length=200, required=False, help_text="Part of the name or INCI name.")
    measured_by = Choice(["mass", "count"], required=False)


class SupplierIn(Body):
    name = Text(max_length=200)
    contact_name = Text(max_length=200, required=False, allow_blank=True)
    mail = MailAddress(required=False, allow_blank=True, help_text="Where orders are mailed to.")


class SupplierChange(SupplierIn):
    name = Text(max_length=200, required=False)


class SupplierOut(serializers.Serializer[Any]):
    id = Id()
    name = Text()
    contact_name = Text(allow_blank=True)
    mail = Text(allow_blank=True)
    version = serializers.IntegerField()
    created_at = Moment()


class SupplierQuery(Paged):
    name = Text(max_length=200, required=False, help_text="Part of the name.")


def density_json(row: Any) -> dict[str, Any] | None:
    """A density kept with a material or a lot."""
    if row.density is None:
        return None
    return {
        "value": plain(row.density.normalize()),
        "at": plain(row.density_at),
        "entered": row.density_entered,
    }


def parts_json(row: Material, kind: str) -> list[dict[str, Any]]:
    rows = [part for part in row.parts.all() if part.kind == kind]
    return [
        {"inci_name": part.inci_name, "percent": plain(part.percent.normalize())}
        for part in sorted(rows, key=lambda part: part.position)
    ]


def maxima_json(row: Material) -> list[dict[str, Any]]:
    return [
        {
            "kind": one.kind,
            "max_percent": plain(one.max_percent.normalize()),
            "category": one.category,
        }
        for one in sorted(row.maxima.all(), key=lambda one: USED_AS.index(one.kind))
    ]


def material_json(row: Material, actor: Actor) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "name": row.name,
        "inci_name": row.inci_name,
        "cas_number": row.cas_number,
        "measured_by": row.measured_by,
        "density": density_json(row),
        "cost_class": row.cost_class,
        "cost_formula": row.cost_formula,
        "stocked": row.stocked,
        "cost_per_kg": plain(row.cost_per_kg) if actor.may(Verb.SEE_COSTS) else None,
        "cost_source": row.cost_source,
        "shelf_life_days": row.shelf_life_days,
        "use_within_days": row.use_within_days,
        "mass_each": plain(row.mass_each),
        "declared_as": row.declared_as,
        "cautions": row.cautions,
        "min_percent": shortest(row.min_percent),
        "max_percent": shortest(row.max_percent),
        "certificate_category": row.certificate_category,
        "maxima": maxima_json(row),
        "certificate_until": row.certificate_until,
        "composition": parts_json(row, MaterialPart.Kind.PART),
        "allergens": parts_json(row, MaterialPart.Kind.ALLERGEN),
        "function": row.function,
        "brings": None if row.brings is None else row.brings.split(),
        "own": row.maker_id is not None,
        "version": row.version,
        "created_at": row.created_at,
    }


def _facts(data: dict[str, Any]) -> dict[str, Any]:
    """What was sent, as it is kept: words in one text."""
    if data.get("brings") is None:
        return data
    return {**data, "brings": " ".join(sorted(set(data["brings"])))}


def supplier_json(row: Supplier) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "name": row.name,
        "contact_name": row.contact_name,
        "mail": row.mail,
        "version": row.version,
        "created_at": row.created_at,
    }


class Materials(Resource):
    """The materials that the makers of the co-op buy, and those the maker makes."""

    @reads(MaterialQuery, page_of(MaterialOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List materials, newest first."""
        rows = materials_visible_to(actor).prefetch_related("parts", "maxima")
        if "measured_by" in query:
            rows = rows.filter(measured_by=query["measured_by"])
        if "name" in query:
            rows = rows.filter(name__icontains=query["name"]) | rows.filter(
                inci_name__icontains=query["name"]
            )
        return page(self.request, query, rows, lambda row: material_json(row, actor))

    @writes(MaterialIn, MaterialOut, examples=examples.MATERIAL)
    def post(self, actor: Actor, data: dict[str, Any]) -> Sent:
        """Add a material to the catalogue."""
        material = catalogue.add_material(actor, catalogue.MaterialFacts(**_facts(data)))
        return _material(material, actor)


class OneMaterial(Resource):
    """One material."""

    @reads(None, MaterialOut)
    def get(self, actor: Actor, id: str) -> Sent:
        """Show a material."""
        return _material(material_for(actor, id), actor)

    @writes(MaterialChange, MaterialOut, status=200, keyed=False, edits=True)
    def patch(self, actor: Actor, data: dict[str, Any], id: str) -> Sent:
        """Change what is known of a material (If-Match with its ETag)."""
        material_for(actor, id)
        version = etags.expected_version(self.request, id)
        changed = catalogue.change_material(actor, material=id, version=version, facts=_facts(data))
        return _material(changed, actor)


class Suppliers(Resource):
    """The suppliers that the makers of the co-op buy from."""

    @reads(SupplierQuery, page_of(SupplierOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List suppliers, newest first."""
        rows = suppliers_visible_to(actor)
        if "name" in query:
            rows = rows.filter(name__icontains=query["name"])
        return page(self.request, query, rows, supplier_json)

    @writes(SupplierIn, SupplierOut)
    def post(self, actor: Actor, data: dict[str, Any]) -> Sent:
        """Add a supplier to the catalogue."""
        return _supplier(catalogue.add_supplier(actor, **data))


class OneSupplier(Resource):
    """One supplier."""

    @reads(None, SupplierOut)
    def get(self, actor: Actor, id: str) -> Sent:
        """Show a supplier."""
        return _supplier(supplier_for(actor, id))

    @writes(SupplierChange, SupplierOut, status=200, keyed=False, edits=True)
    def patch(self, actor: Actor, data: dict[str, Any], id: str) -> Sent:
        """Change a supplier's name or whom to write to (If-Match with its ETag)."""
        supplier_for(actor, id)
        version = etags.expected_version(self.request, id)
        return _supplier(catalogue.change_supplier(actor, supplier=id, version=version, facts=data))


def _material(row: Material, actor: Actor) -> Sent:
    return Sent(material_json(row, actor), headers={"ETag": etags.etag(row.id, row.version)})


def _supplier(row: Supplier) -> Sent:
    return Sent(supplier_json(row), headers={"ETag": etags.etag(row.id, row.version)})
