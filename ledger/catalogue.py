"""The catalogue that a co-op's makers share: materials and suppliers."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from ledger.access import Actor, find, materials_visible_to, suppliers_visible_to
from ledger.errors import (
    Invalid,
    PartsNot100,
    Sentence,
    Stale,
)
from ledger.finding import called_like
from ledger.models import Material, MaterialMaximum, MaterialPart, Supplier
from ledger.models.catalogue import CAUTIONS, FUNCTIONS, USED_AS
from ledger.opened_lots import give_days
from ledger.quantities import Density, Quantity
from ledger.roles import Verb

# As fine as masses are kept.
MICROGRAM = Decimal("0.000001")

# The facts that a material's row keeps as they are.
PLAIN = [
    "name",
    "measured_by",
    "inci_name",
    "cas_number",
    "cost_class",
    "cost_formula",
    "stocked",
    "cost_per_kg",
    "cost_source",
    "shelf_life_days",
    "use_within_days",
    "declared_as",
    "function",
    "brings",
    "cautions",
    "min_percent",
    "max_percent",
    "certificate_category",
    "certificate_until",
]
# What a raw material may carry beside its active matter.
BROUGHT = ["allergens", "preservative", "salts"]


@dataclass(frozen=True, slots=True)
class PartFacts:
    """So many percent by mass of what has this INCI name."""

    inci_name: str
    percent: Decimal


@dataclass(frozen=True, slots=True)
class MaximumFacts:
    """At most so many percent by mass in products of a kind, which is one of USED_AS.

    `category` is how the certificate calls that kind.
    """

    kind: str
    max_percent: Decimal
    category: str = ""


@dataclass(frozen=True, slots=True)
class MaterialFacts:
    """What is known of a material; `composition` and `allergens` are for the labels.

    `max_percent` is of the one category that is named; `maxima` are for kinds of products.
    """

    name: str
    measured_by: str
    inci_name: str = ""
    cas_number: str = ""
    cost_class: str = "material"
    cost_formula: str | None = None
    density: Density | None = None
    stocked: bool = True
    cost_per_kg: Decimal | None = None
    cost_source: str = ""
    shelf_life_days: int | None = None
    use_within_days: int | None = None
    mass_each: Quantity | None = None
    declared_as: str = Material.DeclaredAs.INGREDIENT
    cautions: Sequence[str] = ()
    min_percent: Decimal | None = None
    max_percent: Decimal | None = None
    certificate_category: str = ""
    certificate_until: date | None = None
    # None leaves them as they are.
    composition: Sequence[PartFacts] | None = None
    allergens: Sequence[PartFacts] | None = None
    maxima: Sequence[MaximumFacts] | None = None
    function: str = ""
    brings: str | None = None


def add_material(actor: Actor, facts: MaterialFacts) -> Material:
    """Add a material to the co-op's catalogue. Raises Invalid where the facts contradict."""
    actor.must(Verb.EDIT_CATALOGUE)
    material = Material(coop_id=actor.coop_id)
    _set(material, facts)
    material.save(force_insert=True)
    write_parts(material, facts.composition, facts.allergens)
    write_maxima(material, facts.maxima)
    return material


def change_material(
    actor: Actor, *, material: UUID | str, version: int | None, facts: dict[str, Any]
) -> Material:
    """Change what is known of a material; what has been weighed or costed stays as it was.

    Where it comes by its days once open, what is open ends by them with every maker.

    `facts` are the fields to change, by the names of MaterialFacts. Raises Stale if somebody
    changed it after `version`, Invalid for how it is measured once and for all.
    """
    actor.must(Verb.EDIT_CATALOGUE)
    rows = materials_visible_to(actor).select_for_update(no_key=True)
    found = find(rows, material)
    if version is not None and found.version != version:
        raise Stale
    if facts.get("measured_by", found.measured_by) != found.measured_by:
        raise Invalid(
            "How a material is measured is fixed; add a new material instead.",
            pointer="/measured_by",
        )
    if facts.get("stocked", found.stocked) != found.stocked:
        raise Invalid(
            "Whether a material is stocked is fixed; add a new material instead.",
            pointer="/stocked",
        )
    if facts.get("cost_class", found.cost_class) != found.cost_class:
        raise Invalid(
            "The class of a material is fixed, since each maker costs a class by one formula;"
            " add a new material instead.",
            pointer="/cost_class",
        )
    if found.maker_id is not None:
        actor.must(Verb.FORMULATE)
    elif "density" in facts:
        # Every maker of the co-op weighs by it.
        actor.must(Verb.CHANGE_DENSITY)
    had_days = found.use_within_days is not None
    _set(found, facts_of(found, facts))
    found.version += 1
    found.save()
    write_parts(found, facts.get("composition"), facts.get("allergens"))
    write_maxima(found, facts.get("maxima"))
    if not had_days and found.use_within_days is not None:
        give_days(found)
    return found


def facts_of(material: Material, changes: dict[str, Any]) -> MaterialFacts:
    """A material's facts with some of them changed."""
    kept = {name: getattr(material, name) for name in PLAIN}
    if material.density is not None:
        kept["density"] = Density(material.density, material.density_at, material.density_entered)
    if material.mass_each is not None:
        kept["mass_each"] = Quantity(f"{material.mass_each:f} g", "mass", material.mass_each)
    return MaterialFacts(**{**kept, **changes})


def add_supplier(actor: Actor, *, name: str, contact_name: str = "", mail: str = "") -> Supplier:
    """Add a supplier to the co-op's catalogue; orders are mailed to `mail`."""
    actor.must(Verb.EDIT_CATALOGUE)
    return Supplier.objects.create(
        coop_id=actor.coop_id, name=name, contact_name=contact_name, mail=mail
    )


def supplier_named(actor: Actor, name: str, *, new: bool = False) -> Supplier:
    """The supplier of a name, whatever its capitals and spaces; the oldest where two are called so.

    One that nobody knows is added only if it is said to be `new`. Raises Invalid, Forbidden.
    """
    for supplier in called_like(suppliers_visible_to(actor), name).order_by("id")[:1]:
        return supplier
    if new:
        return add_supplier(actor, name=name)
    raise Invalid(
        Sentence(
            "No supplier is called {supplier!r}: choose one that is known, or say that this"
            " one is new.",
            supplier=name,
        ),
        pointer="/supplier",
    )


def change_supplier(
    actor: Actor, *, supplier: UUID | str, version: int | None, facts: Mapping[str, str]
) -> Supplier:
    """Change a supplier's name, contact_name or mail. Raises Stale if changed after `version`."""
    actor.must(Verb.EDIT_CATALOGUE)
    rows = suppliers_visible_to(actor).select_for_update(no_key=True)
    found = find(rows, supplier)
    if version is not None and found.version != version:
        raise Stale
    for name, value in facts.items():
        setattr(found, name, value)
    found.version += 1
    found.save()
    return found


def write_parts(
    material: Material,
    composition: Sequence[PartFacts] | None,
    allergens: Sequence[PartFacts] | None,
) -> None:
    """Keep what a material is made of and its allergens; None leaves either as it is.

    Raises PartsNot100 unless a composition makes exactly 100 %, Invalid for more than 100 % of
    allergens, a name that stands twice, and for what is counted.
    """
    kinds = MaterialPart.Kind
    for kind, field, parts in (
        (kinds.PART, "composition", composition),
        (kinds.ALLERGEN, "allergens", allergens),
    ):
        if parts is None:
            continue
        _check_parts(material, field, parts)
        MaterialPart.objects.filter(
            coop_id=material.coop_id, material_id=material.id, kind=kind
        ).delete()
        MaterialPart.objects.bulk_create(
            MaterialPart(
                coop_id=material.coop_id,
                maker_id=material.maker_id,
                material=material,
                kind=kind,
                position=place,
                inci_name=part.inci_name,
                percent=part.percent,
            )
            for place, part in enumerate(parts)
        )


def write_maxima(material: Material, maxima: Sequence[MaximumFacts] | None) -> None:
    """Keep what a certificate allows in each kind of product; None leaves it as it is.

    Raises Invalid for a kind that is not known or stands twice, and for a percent that cannot be.
    """
    if maxima is None:
        return
    seen: set[str] = set()
    for place, one in enumerate(maxima):
        if one.kind not in USED_AS or one.kind in seen:
            raise Invalid(
                Sentence(
                    "A kind is one of these, and each stands once: {named}.",
                    named=", ".join(USED_AS),
                ),
                pointer=f"/maxima/{place}/kind",
            )
        seen.add(one.kind)
        if not one.max_percent.is_finite() or not 0 < one.max_percent <= 100:
            raise Invalid(
                "A percent is above 0 and at most 100.", pointer=f"/maxima/{place}/max_percent"
            )
    MaterialMaximum.objects.filter(coop_id=material.coop_id, material_id=material.id).delete()
    MaterialMaximum.objects.bulk_create(
        MaterialMaximum(
            coop_id=material.coop_id,
            maker_id=material.maker_id,
            material=material,
            kind=one.kind,
            max_percent=one.max_percent,
            category=one.category,
        )
        for one in maxima
    )


def _check_parts(material: Material, field: str, parts: Sequence[PartFacts]) -> None:
    pointer = f"/{field}"
    if parts and material.counted:
        raise Invalid("What is counted is packaging, and is not declared.", pointer=pointer)
    seen: set[str] = set()
    for place, part in enumerate(parts):
        name = " ".join(part.inci_name.split()).casefold()
        if name in seen:
            raise Invalid(
                Sentence(
                    "{inci_name} stands twice; give one percent for it.", inci_name=part.inci_name
                ),
                pointer=f"{pointer}/{place}/inci_name",
            )
        seen.add(name)
        if not part.percent.is_finite() or not 0 < part.percent <= 100:
            raise Invalid(
                "A percent is above 0 and at most 100.", pointer=f"{pointer}/{place}/percent"
            )
    total = sum((part.percent for part in parts), Decimal(0))
    if field == "composition" and parts and total != 100:
        raise PartsNot100(total=f"{total.normalize():f}", pointer=pointer)
    if total > 100:
        raise Invalid(
            Sentence("The allergens make {total:f} %, above 100.", total=total.normalize()),
            pointer=pointer,
        )


def is_cas_number(text: str) -> bool:
    """Whether the text can be a CAS Registry Number: up to ten digits as 56-81-5, the last of which
    is the sum of the others, each times its place from the right, modulo 10 (CAS, "Check Digit
    Verification of CAS Registry Numbers")."""
    found = re.fullmatch(r"([1-9][0-9]{1,6})-([0-9]{2})-([0-9])", text)
    if found is None:
        return False
    digits = reversed(found[1] + found[2])
    return sum(place * int(digit) for place, digit in enumerate(digits, 1)) % 10 == int(found[3])


def _set(material: Material, facts: MaterialFacts) -> None:
    if facts.cas_number not in {"", material.cas_number} and not is_cas_number(facts.cas_number):
        raise Invalid(
            "This is no CAS number: write one as 56-81-5; its last digit proves the others.",
            pointer="/cas_number",
        )
    counted = facts.measured_by == Material.MeasuredBy.COUNT
    if counted and facts.density is not None:
        raise Invalid(
            "What is counted has no density; say what one weighs instead.", pointer="/density"
        )
    if facts.mass_each is not None and not counted:
        raise Invalid("What one weighs is for what is counted.", pointer="/mass_each")
    if facts.mass_each is not None and facts.mass_each.measure != "mass":
        raise Invalid('Give the mass of one, such as "32 g".', pointer="/mass_each")
    if facts.stocked and facts.cost_per_kg is not None:
        raise Invalid(
            "What is stocked costs what its lots cost; its own cost is for what is not.",
            pointer="/cost_per_kg",
        )
    if facts.use_within_days is not None and (counted or not facts.stocked):
        raise Invalid(
            "Days after opening are for what is weighed out of a container: leave them out for"
            " pieces, and for what comes from the tap.",
            pointer="/use_within_days",
        )
    if facts.function and facts.function not in FUNCTIONS:
        named = ", ".join(FUNCTIONS)
        raise Invalid(Sentence("A function is one of: {named}.", named=named), pointer="/function")
    for place, caution in enumerate(facts.cautions):
        if caution not in CAUTIONS:
            named = ", ".join(CAUTIONS)
            raise Invalid(
                Sentence("A caution is one of: {named}.", named=named), pointer=f"/cautions/{place}"
            )
    low, high = facts.min_percent, facts.max_percent
    if low is not None and not 0 <= low <= 100:
        raise Invalid("A percent is from 0 to 100.", pointer="/min_percent")
    if high is not None and not 0 < high <= 100:
        raise Invalid("A percent is above 0 and at most 100.", pointer="/max_percent")
    if low is not None and high is not None and low > high:
        raise Invalid("The least percent is not above the most.", pointer="/min_percent")
    for name in PLAIN:
        setattr(material, name, getattr(facts, name))
    material.cautions = sorted(set(facts.cautions))
    material.density = facts.density and facts.density.grams_per_millilitre
    material.density_at = facts.density and facts.density.celsius
    material.density_entered = facts.density.entered if facts.density else ""
    material.mass_each = facts.mass_each and facts.mass_each.amount.quantize(MICROGRAM)
