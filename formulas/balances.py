"""Reads: what a size of a formula or product needs, and what of it can be had."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from formulas.access import product_for, version_for
from formulas.batches import Size
from formulas.composition import explode
from formulas.models import FormulaVersion, Line, Packaging, Product
from formulas.recipes import fill_grams_of, recipes_under
from formulas.reserving import available_on
from formulas.scaling import Scaled, to_step
from ledger.access import Actor
from ledger.models import Material
from ledger.roles import Verb

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Need:
    """So much of a material, in grams or pieces, and how much of it can be had on the day.

    `millilitres` is given where the material has a density. What is not stocked is never short.
    """

    material: Material
    quantity: Decimal
    available: Decimal
    short: Decimal
    millilitres: Decimal | None = None


@dataclass(frozen=True, slots=True)
class NeededLine:
    """A line of the formula, its grams to the step of the scale, and what it pours from."""

    line: Line
    grams: Decimal
    need: Need


@dataclass(frozen=True, slots=True)
class Needs:
    """A size of a formula, or of a product with its units: lines, all materials, packaging.

    `lines` sum to the batch exactly. `materials` is the explosion through all intermediates,
    rounded once. `output_grams` of a product is the fill of all units.
    """

    version: FormulaVersion
    scaled: Scaled
    lines: tuple[NeededLine, ...]
    materials: tuple[Need, ...]
    product: Product | None = None
    units: int | None = None
    fill_grams: Decimal | None = None
    packaging: tuple[Need, ...] = ()


def scale_formula(actor: Actor, *, formula: UUID | str, size: Size, day: date) -> Needs:
    """What a batch or an output of a formula needs, and what of it can be had on `day`.

    Raises NotFound, DensityMissing, Invalid.
    """
    actor.must(Verb.READ)
    version = version_for(actor, formula)
    return _needs(actor, version, size.scale(version, None), day)


def scale_product(actor: Actor, *, product: UUID | str, units: int, day: date) -> Needs:
    """What units of a product need, packaging too. Raises NotFound, DensityMissing, Invalid."""
    actor.must(Verb.READ)
    made = product_for(actor, product)
    version = version_for(actor, made.formula_id)
    scaled = Size(units=units).scale(version, made)
    return _needs(actor, version, scaled, day, made, units)


def _needs(
    actor: Actor,
    version: FormulaVersion,
    scaled: Scaled,
    day: date,
    product: Product | None = None,
    units: int | None = None,
) -> Needs:
    recipes = recipes_under(version)
    exploded = explode(str(version.formula_id), scaled.batch_grams, recipes)
    materials = Material.objects.in_bulk([UUID(id) for id in exploded])
    poured = [_poured(line) for line in version.lines.all()]
    packed = list(product.packaging.all()) if product else []
    available = available_on(
        actor,
        {*materials, *(one.id for one in poured), *(item.material_id for item in packed)},
        day,
    )
    grams = [part.grams for part in scaled.lines]
    lines = zip(version.lines.all(), grams, poured, strict=True)
    return Needs(
        version=version,
        scaled=scaled,
        lines=tuple(
            NeededLine(line, part, _need(material, Fraction(part), available))
            for line, part, material in lines
        ),
        materials=tuple(_need(materials[UUID(id)], g, available) for id, g in exploded.items()),
        product=product,
        units=units,
        fill_grams=None if product is None else fill_grams_of(product, version),
        packaging=_packaging_needs(packed, units or 0, available),
    )


def _poured(line: Line) -> Material:
    """What a line pours: its material, or what its intermediate makes."""
    material: Material = line.component.material if line.component else line.material
    return material


def _need(material: Material, exact: Fraction, available: Mapping[UUID, Decimal]) -> Need:
    grams = to_step(exact)
    there = available[material.id] if material.stocked else grams
    millilitres = None
    if material.density is not None:
        millilitres = to_step(exact / Fraction(material.density))
    return Need(material, grams, there, max(ZERO, grams - there), millilitres)


def _packaging_needs(
    packed: Sequence[Packaging], units: int, available: Mapping[UUID, Decimal]
) -> tuple[Need, ...]:
    """Packaging for all units; the same material twice is one need."""
    counts: dict[UUID, Decimal] = {}
    for item in packed:
        counts[item.material_id] = counts.get(item.material_id, ZERO) + item.quantity * units
    materials = {item.material_id: item.material for item in packed}
    return tuple(
        Need(materials[id], count, available[id], max(ZERO, count - available[id]))
        for id, count in counts.items()
    )
