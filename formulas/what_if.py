"""What would another price of a material do: to every formula and product, at once."""

from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from heapq import nsmallest
from math import isnan
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.models.functions import Lower

from formulas.access import formulas_of, products_of
from formulas.errors import CostUnknown
from formulas.models import Product
from formulas.pricing import price_for_margin
from formulas.rollup import Levels, as_costs, level_order, told
from formulas.unit_costs import planned_batch, usual_units
from ledger.access import Actor, materials_for
from ledger.costing import GRAMS_PER_KG, round_stored
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.finding import having
from ledger.models import Material
from ledger.present_costs import present_costs
from ledger.roles import Verb

# The lines of all versions in force: grams of each in one gram that is left after the loss.
LINES: Final = """
select f.id, l.component_id, l.material_id,
       (l.percent / (100 - v.process_loss_percent))::float8
  from formulas_formula f
  join formulas_formulaversion v
    on v.coop_id = f.coop_id and v.formula_id = f.id and v.number = f.version
  join formulas_line l on l.coop_id = v.coop_id and l.version_id = v.id
  where f.coop_id = %s and f.maker_id = %s
"""
Grams = tuple[Fraction | None, Fraction | None]
Costs = Mapping[UUID, Fraction | None]
# Versions are only added, so their number and the newest of them say whether any is new.
_STAMP: Final = """
select count(*), (select id from formulas_formulaversion
                    where coop_id = %(coop)s and maker_id = %(maker)s order by id desc limit 1)
  from formulas_formulaversion where coop_id = %(coop)s and maker_id = %(maker)s
"""
_KEPT: OrderedDict[tuple[UUID, UUID], tuple[object, Levels]] = OrderedDict()
# Makers whose arrays a process keeps: a few megabytes each for ten thousand formulas.
MOST_KEPT: Final = 4


@dataclass(frozen=True, slots=True)
class Change:
    """Another cost of a material: of a kilogram (of a piece, if counted), or so much percent more.

    Exactly one of the two is given; percents below zero make it cheaper, by 100 at most.
    """

    material: UUID | str
    price: Decimal | None = None
    change_percent: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Moved:
    """A cost before and after; None where the cost of something in it is not known."""

    old: Decimal | None
    new: Decimal | None

    @property
    def by(self) -> Decimal:
        """How much dearer it becomes; zero where that is not known."""
        return Decimal(0) if self.old is None or self.new is None else self.new - self.old


@dataclass(frozen=True, slots=True)
class FormulaMoved:
    """A formula that contains what changes, and its cost of a kilogram."""

    formula: UUID
    name: str
    per_kg: Moved


@dataclass(frozen=True, slots=True)
class ProductMoved:
    """A product that contains what changes: its cost of a unit, and its price at the margin asked.

    The costs of a unit are None too where the density that tells its mass is missing.
    """

    product: UUID
    name: str
    per_kg: Moved
    per_unit: Moved
    price: Moved


@dataclass(frozen=True, slots=True)
class ProductCost:
    """A product, and what a unit of it costs now; None where that is not known."""

    product: Product
    per_unit: Decimal | None


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Those that change most, first; and how many change at all."""

    formulas: tuple[FormulaMoved, ...]
    formulas_changed: int
    products: tuple[ProductMoved, ...]
    products_changed: int


def what_if(
    actor: Actor,
    *,
    changes: Sequence[Change],
    batch_units: int | None = None,
    margin_percent: Decimal | None = None,
    limit: int = 100,
) -> WhatIf:
    """What other prices of materials would do to all formulas in force and all products.

    Everything else costs what it costs now. Batches are of `batch_units`, for what is paid once a
    batch, or as large as the last one of each product. Figures are rounded, and no price is to be
    set by them: `unit_cost_of` is exact. A fixed number of queries, whatever there is. Raises
    NotFound, Forbidden, CostUnknown, Invalid.
    """
    actor.must(Verb.SEE_COSTS)
    materials = _materials(actor, changes)
    levels = levels_of(actor)
    products = list(products_of(actor))
    packed = {item.material_id for product in products for item in product.packaging.all()}
    present = present_costs(actor, {*levels.materials, *packed, *(one.id for one in materials)})
    old = {id: cost.each for id, cost in present.items()}
    new = old | {
        material.id: _changed(material, change, old[material.id], place)
        for place, (material, change) in enumerate(zip(materials, changes, strict=True))
    }
    before, after = (levels.rolled(as_costs(levels.materials, costs)) for costs in (old, new))
    place = {id: n for n, id in enumerate(levels.formulas)}
    touched = set(levels.touched(material.id for material in materials).tolist())
    changed = {material.id for material in materials}
    usual = usual_units(products) if batch_units is None else {}
    moved = []
    for product in products:
        n = place[product.formula_id]
        if n in touched or any(item.material_id in changed for item in product.packaging.all()):
            per_gram = (told(before[n]), told(after[n]))
            units = batch_units or usual[product.id]
            moved.append(_product(product, per_gram, (old, new), units, margin_percent))
    return WhatIf(
        formulas=_formulas(actor, _most(levels, before, after, touched, limit)),
        formulas_changed=len(touched),
        products=tuple(sorted(moved, key=lambda one: (-abs(one.per_unit.by), one.name))[:limit]),
        products_changed=len(moved),
    )


def cost_instead(actor: Actor, change: Change) -> dict[UUID, Fraction]:
    """What a gram or a piece of the material would cost. Raises what `what_if` raises."""
    actor.must(Verb.SEE_COSTS)
    (material,) = _materials(actor, [change])
    old = present_costs(actor, [material.id])[material.id].each
    return {material.id: _changed(material, change, old, 0)}


def costs_of_products(
    actor: Actor, *, words: Sequence[str] = (), limit: int = 100
) -> list[ProductCost]:
    """What a unit of each product costs now, by name, of those whose name has all these words.

    Batches are as large as the last one of each. Rounded as `what_if` is, and in as few queries.
    Raises Forbidden.
    """
    actor.must(Verb.SEE_COSTS)
    levels = levels_of(actor)
    rows = having(products_of(actor), words)
    products = list(rows.order_by(Lower("name"), "id")[:limit])
    packed = {item.material_id for product in products for item in product.packaging.all()}
    present = present_costs(actor, {*levels.materials, *packed})
    costs = {id: cost.each for id, cost in present.items()}
    rolled = levels.rolled(as_costs(levels.materials, costs))
    place = {id: n for n, id in enumerate(levels.formulas)}
    units = usual_units(products)
    return [
        ProductCost(
            product,
            _per_unit(product, told(rolled[place[product.formula_id]]), costs, units[product.id]),
        )
        for product in products
    ]


def costs_per_gram(actor: Actor) -> dict[UUID, Fraction | None]:
    """What a gram of what each formula makes costs now, of materials alone; None if not known.

    Rounded as `what_if` is. Raises Forbidden.
    """
    levels = levels_of(actor)
    present = present_costs(actor, levels.materials)
    costs = as_costs(levels.materials, {id: cost.each for id, cost in present.items()})
    rolled = levels.rolled(costs)
    return {id: told(rolled[place]) for place, id in enumerate(levels.formulas)}


def levels_of(actor: Actor) -> Levels:
    """The arrays of the maker's formulas; read anew only after a version was added."""
    own = {"coop": actor.coop_id, "maker": actor.maker}
    key = (actor.coop_id, actor.maker)
    with connection.cursor() as cursor:
        cursor.execute(_STAMP, own)
        stamp = cursor.fetchone()
        kept = _KEPT.get(key)
        if kept is not None and kept[0] == stamp:
            return kept[1]
        cursor.execute(LINES, [actor.coop_id, actor.maker])
        levels = level_order(cursor.fetchall())
    _KEPT[key] = (stamp, levels)
    _KEPT.move_to_end(key)
    while len(_KEPT) > MOST_KEPT:
        _KEPT.popitem(last=False)
    return levels


def _materials(actor: Actor, changes: Sequence[Change]) -> list[Material]:
    wanted = [(one.material, f"/materials/{n}/material") for n, one in enumerate(changes)]
    found = materials_for(actor, wanted)
    for place, (material, change) in enumerate(zip(found, changes, strict=True)):
        pointer = f"/materials/{place}"
        if (change.price is None) == (change.change_percent is None):
            raise Invalid("Give a price or a change in percent: one of them.", pointer=pointer)
        if material.maker_id is not None:
            raise Invalid(
                Sentence(
                    "{material} is made: ask what another price of its materials would do.",
                    material=material.name,
                ),
                pointer=f"{pointer}/material",
            )
        if material in found[:place]:
            raise Invalid("This material stands here twice.", pointer=f"{pointer}/material")
    return found


def _changed(material: Material, change: Change, old: Fraction | None, place: int) -> Fraction:
    """What a gram or a piece would cost."""
    if change.price is not None:
        price = Fraction(change.price)
        return price if material.counted else price / Fraction(GRAMS_PER_KG)
    percent = change.change_percent or Decimal(0)
    if percent < -100:
        raise Invalid(
            "Nothing gets cheaper than nothing: -100 percent at most.",
            pointer=f"/materials/{place}/change_percent",
        )
    if old is None:
        raise CostUnknown(
            name=material.name,
            material=str(material.id),
            pointer=f"/materials/{place}/change_percent",
        )
    return old * (1 + Fraction(percent) / 100)


def _most(
    levels: Levels, before: Any, after: Any, touched: Iterable[int], limit: int
) -> dict[UUID, Grams]:
    """Those of the touched that move most, first, in money of a gram.

    They are found in binary numbers, so that only they are told in decimals, whatever is touched.
    What is not known moves by nothing.
    """
    by = [0 if isnan(one) else -abs(one) for one in (after - before).tolist()]
    most = nsmallest(limit, touched, key=lambda n: (by[n], levels.formulas[n]))
    return {levels.formulas[n]: (told(before[n]), told(after[n])) for n in most}


def _formulas(actor: Actor, most: Mapping[UUID, Grams]) -> tuple[FormulaMoved, ...]:
    names = dict(formulas_of(actor).filter(id__in=most).values_list("id", "name"))
    return tuple(FormulaMoved(id, names[id], _per_kg(costs)) for id, costs in most.items())


def _product(
    product: Product,
    per_gram: Grams,
    costs: tuple[Costs, Costs],
    batch_units: int,
    margin_percent: Decimal | None,
) -> ProductMoved:
    units = [
        _per_unit(product, grams, each, batch_units)
        for grams, each in zip(per_gram, costs, strict=True)
    ]
    prices: list[Decimal | None] = [None, None]
    if margin_percent is not None:
        prices = [price_for_margin(cost, margin_percent).price if cost else None for cost in units]
    return ProductMoved(
        product=product.id,
        name=product.name,
        per_kg=_per_kg(per_gram),
        per_unit=Moved(*units),
        price=Moved(*prices),
    )


def _per_unit(
    product: Product, per_gram: Fraction | None, costs: Costs, batch_units: int
) -> Decimal | None:
    fill = product.material.mass_each
    packaging = [(item.quantity, costs.get(item.material_id)) for item in product.packaging.all()]
    if fill is None or per_gram is None:
        return None
    each = Fraction(0)
    for quantity, cost in packaging:
        if cost is None:
            return None
        each += Fraction(quantity) * cost
    return planned_batch(product, fill, batch_units, per_gram, each).per_unit


def _per_kg(costs: Grams) -> Moved:
    return Moved(
        *(None if one is None else round_stored(one * Fraction(GRAMS_PER_KG)) for one in costs)
    )
