"""Formula versions as the pure functions read them, and all that lies under one."""

from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal
from typing import Final
from uuid import UUID

from formulas.composition import Composed, Ingredient, Kind, Recipe
from formulas.infusing import Infusion
from formulas.label_volumes import for_labels
from formulas.models import BatchLine, FormulaVersion, Line, Product
from formulas.scaling import fill_of_mass, fill_of_volume
from ledger.errors import (
    DensityMissing,
    Sentence,
)
from ledger.quantities import Density
from ledger.statements import run

# The versions in force of some formulas and of all that lies under them, line by line.
_BELOW: Final = """
with recursive in_force as not materialized (
  select f.id as formula_id, v.process_loss_percent, l.component_id, l.material_id, l.percent,
         l.kind, l.max_percent, l.position
    from formulas_formula f
    join formulas_formulaversion v
      on v.coop_id = f.coop_id and v.formula_id = f.id and v.number = f.version
    join formulas_line l on l.coop_id = v.coop_id and l.version_id = v.id
    where f.coop_id = %(coop)s
), below(id) as (
  select unnest(%(wanted)s::uuid[])
  union
  select i.component_id from below b join in_force i on i.formula_id = b.id
    where i.component_id is not null
)
select i.formula_id, i.process_loss_percent, i.component_id, i.material_id, i.percent, i.kind,
       i.max_percent
  from below b join in_force i on i.formula_id = b.id order by i.formula_id, i.position
"""


def composed(lines: Iterable[Line | BatchLine]) -> tuple[Composed, ...]:
    """The lines of a version, or of a batch of it, in their order."""
    return tuple(
        Composed(
            ingredient=Ingredient(Kind.FORMULA, str(line.component_id))
            if line.component_id
            else Ingredient(Kind.MATERIAL, str(line.material_id)),
            percent=line.percent,
            is_balance=line.kind == Line.Kind.BALANCE,
            max_percent=line.max_percent,
        )
        for line in lines
    )


def recipes_under(version: FormulaVersion) -> dict[str, Recipe]:
    """The version and, in force today, every intermediate under it, by the id of the formula.

    One query, whatever the depth; none for a version without intermediates.
    """
    own = Recipe(composed(version.lines.all()), version.process_loss_percent)
    wanted = intermediates([own])
    return recipes_below(version.coop_id, wanted) | {str(version.formula_id): own}


def recipes_below(coop: UUID, formulas: Iterable[str]) -> dict[str, Recipe]:
    """These formulas and every one under them, as they are in force today, in one query."""
    wanted = sorted(formulas)
    if not wanted:
        return {}
    lines: dict[str, list[Composed]] = defaultdict(list)
    losses: dict[str, Decimal] = {}
    for formula, loss, inner, bought, percent, kind, most in run(
        _BELOW, {"coop": coop, "wanted": wanted}
    ):
        losses[str(formula)] = loss
        lines[str(formula)].append(
            Composed(
                ingredient=Ingredient(Kind.FORMULA, str(inner))
                if inner
                else Ingredient(Kind.MATERIAL, str(bought)),
                percent=percent,
                is_balance=kind == Line.Kind.BALANCE,
                max_percent=most,
            )
        )
    return {formula: Recipe(tuple(lines[formula]), loss) for formula, loss in losses.items()}


def density_of(version: FormulaVersion) -> Density | None:
    """The density stated for what a version makes."""
    if version.density is None:
        return None
    return Density(version.density, version.density_at, version.density_entered)


def infusion_of(version: FormulaVersion) -> Infusion | None:
    """What a version says of its steeping, if it is an infusion."""
    if version.retention is None or version.evaporation_percent is None:
        return None
    return Infusion(version.retention, version.evaporation_percent)


def fill_grams_of(product: Product, version: FormulaVersion) -> Decimal:
    """Grams in one unit, overfill included. Raises DensityMissing for a fill by volume."""
    if product.fill_grams is not None:
        return fill_of_mass(product.fill_grams, product.overfill_percent)
    density = for_labels(density_of(version))
    if density is None or product.fill_ml is None:
        raise DensityMissing(
            Sentence(
                "The fill of {product} is by volume: give the formula {formula!r} a density."
                if version.density is None
                else "The fill of {product} is by volume, which is judged at 20 degC: give the"
                " formula {formula!r} a density at 20 degC.",
                product=product.name,
                formula=version.formula.name,
            ),
            name=version.formula.name,
            pointer="/units",
        )
    return fill_of_volume(product.fill_ml, density.grams_per_millilitre, product.overfill_percent)


def mass_each_of(product: Product, version: FormulaVersion) -> Decimal | None:
    """Grams of product in one unit, where the formula's density lets that be said."""
    try:
        return fill_grams_of(product, version)
    except DensityMissing:
        return None


def intermediates(recipes: Iterable[Recipe]) -> set[str]:
    """The formulas that these contain themselves."""
    return {
        line.ingredient.id
        for recipe in recipes
        for line in recipe.lines
        if line.ingredient.kind is Kind.FORMULA
    }
