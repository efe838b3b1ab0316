"""Formula versions as the pure functions read them, and all that lies under one."""

from collections.abc import Iterable
from decimal import Decimal

from django.db.models import F

from formulas.composition import Composed, Ingredient, Kind, Recipe
from formulas.infusing import Infusion
from formulas.models import FormulaVersion, Line, Product
from formulas.scaling import fill_of_mass, fill_of_volume
from ledger.errors import DensityMissing
from ledger.quantities import Density


def composed(lines: Iterable[Line]) -> tuple[Composed, ...]:
    """The lines of a version, in their order."""
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

    One query for each depth of formulas within formulas.
    """
    recipes = {
        str(version.formula_id): Recipe(composed(version.lines.all()), version.process_loss_percent)
    }
    wanted = _intermediates(recipes.values())
    while wanted:
        found = FormulaVersion.objects.prefetch_related("lines").filter(
            maker_id=version.maker_id, formula_id__in=wanted, number=F("formula__version")
        )
        level = {
            str(row.formula_id): Recipe(composed(row.lines.all()), row.process_loss_percent)
            for row in found
        }
        recipes |= level
        wanted = _intermediates(level.values()) - recipes.keys()
    return recipes


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
    if version.density is None or product.fill_ml is None:
        raise DensityMissing(
            f"The fill of {product.name} is by volume: give the formula {version.formula.name!r}"
            " a density.",
            name=version.formula.name,
            pointer="/units",
        )
    return fill_of_volume(product.fill_ml, version.density, product.overfill_percent)


def mass_each_of(product: Product, version: FormulaVersion) -> Decimal | None:
    """Grams of product in one unit, where the formula's density lets that be said."""
    try:
        return fill_grams_of(product, version)
    except DensityMissing:
        return None


def _intermediates(recipes: Iterable[Recipe]) -> set[str]:
    return {
        line.ingredient.id
        for recipe in recipes
        for line in recipe.lines
        if line.ingredient.kind is Kind.FORMULA
    }
