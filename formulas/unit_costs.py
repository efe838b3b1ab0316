"""What a unit of a product costs: as planned today, and as its last batches and fills came out."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from django.db.models import Exists, F, OuterRef, QuerySet

from formulas.access import product_for, version_to_make
from formulas.costing import BatchCost, Labour, Overhead, batch_cost
from formulas.errors import CostUnknown
from formulas.filling import total_of
from formulas.finishing import check_value, cost_of
from formulas.models import Filling, FormulaVersion, Making, Packaging, Product
from formulas.recipes import fill_grams_of, recipes_under
from formulas.rolling import cost_per_gram, needs_per_gram
from ledger.access import Actor
from ledger.costing import round_stored
from ledger.costing import unit_cost as cost_of_one
from ledger.models import Entry
from ledger.money import split_exactly
from ledger.present_costs import PresentCost, present_costs
from ledger.roles import Verb

ZERO = Decimal(0)
MILLIONTH = Decimal("0.000001")
LAST = 5
# Units of a batch of what was not made yet.
NEVER_MADE = 100


@dataclass(frozen=True, slots=True)
class Share:
    """So much of a material in one unit (grams or pieces), what it costs now, and that much."""

    cost: PresentCost
    quantity: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class Made:
    """Units as they were finished or filled: cost of one, six decimals."""

    batch_id: UUID | None
    fill_id: UUID | None
    lot_id: UUID
    happened_at: datetime
    units: int
    per_unit: Decimal


@dataclass(frozen=True, slots=True)
class UnitCost:
    """The cost of a batch of `units`, at what all materials cost now, and what went before.

    `version` is the formula's version in force; intermediates are taken as theirs in force too.
    `materials` and `packaging` are of one unit, most expensive first. `last` is newest first.
    """

    product: Product
    version: FormulaVersion
    units: int
    fill_grams: Decimal
    cost: BatchCost
    materials: tuple[Share, ...]
    packaging: tuple[Share, ...]
    last: tuple[Made, ...]


def unit_cost_of(
    actor: Actor,
    *,
    product: UUID | str,
    units: int | None = None,
    instead: Mapping[UUID, Fraction] | None = None,
) -> UnitCost:
    """What a unit costs today in a batch of `units`: materials through all losses, packaging,
    labour, overhead.

    Without `units` the batch is as large as the last one; where there was none, a batch of one
    hundred. `instead` are other costs of a gram or a piece of some materials. Raises NotFound,
    Forbidden, DensityMissing, and CostUnknown naming the material.
    """
    actor.must(Verb.SEE_COSTS)
    found = product_for(actor, product)
    last = last_made(found)
    wanted = units or usual_units([found])[found.id]
    version = version_to_make(actor, found.formula_id)
    fill = fill_grams_of(found, version)
    needs = needs_per_gram(str(found.formula_id), recipes_under(version))
    packed = list(found.packaging.all())
    costs = present_costs(actor, _ids(needs, packed))
    for id, each_instead in (instead or {}).items():
        if id in costs:
            costs[id] = replace(costs[id], each=each_instead)
    materials = [_share(costs[UUID(id)], grams * Fraction(fill)) for id, grams in needs.items()]
    packaging = [_share(costs[item.material_id], Fraction(item.quantity)) for item in packed]
    known = {str(id): one.each for id, one in costs.items() if one.each is not None}
    each = sum((Fraction(one.quantity) * (one.cost.each or 0) for one in packaging), Fraction(0))
    cost = planned_batch(found, fill, wanted, cost_per_gram(needs, known), each)
    return UnitCost(
        product=found,
        version=version,
        units=wanted,
        fill_grams=fill,
        cost=cost,
        materials=_dearest_first(materials),
        packaging=_dearest_first(packaging),
        last=tuple(last),
    )


def planned_batch(
    product: Product, fill: Decimal, units: int, per_gram: Fraction, packaging_each: Fraction
) -> BatchCost:
    """The cost of a batch of units, by what a gram of bulk and the packaging of a unit cost.

    Labour and overhead are the product's policy. Raises MoneyTooLarge.
    """
    output = fill * units
    labour = Labour(product.hourly_rate, product.minutes_per_batch, product.minutes_per_unit)
    overhead = Overhead(product.overhead_per_batch, product.overhead_percent)
    materials = round_stored(per_gram * Fraction(output))
    check_value(materials)
    return batch_cost(
        materials=materials,
        packaging=round_stored(packaging_each * units),
        labour=labour.cost(units),
        overhead=overhead.cost(materials),
        output_grams=output,
        units=units,
    )


def shared_out(amount: Decimal, exact: Sequence[Fraction]) -> list[Decimal]:
    """A rounded amount in parts of a millionth, as what it was rounded from stands to each other.

    The parts come to it to the last digit. Where all of that is nothing, nothing is any part.
    """
    weights = [Decimal(round(one * 10**12)) for one in exact]
    if not any(weights):
        return [ZERO for _ in exact]
    return split_exactly(amount, weights, step=MILLIONTH)


def usual_units(products: Sequence[Product]) -> dict[UUID, int]:
    """Units in a batch of each: as many as in the last one; where there was none, a hundred."""
    made = Making.objects.filter(
        batch__product__in=products, batch__making=F("id"), units__isnull=False
    )
    newest = made.order_by("batch__product", "-happened_at", "-id").distinct("batch__product")
    last = dict(newest.values_list("batch__product", "units"))
    return {product.id: last.get(product.id) or NEVER_MADE for product in products}


def last_made(product: Product) -> list[Made]:
    """The last finishes and fills of a product that stand, newest first."""
    made = (
        Making.objects.filter(batch__product=product, batch__making=F("id"), units__isnull=False)
        .select_related("batch")
        .order_by("-happened_at", "-id")[:LAST]
    )
    filled = _standing(product).order_by("-happened_at", "-id")[:LAST]
    found = [
        Made(
            one.batch_id,
            None,
            one.lot_id,
            one.happened_at,
            one.units or 0,
            cost_of(one).per_unit or ZERO,
        )
        for one in made
    ]
    found += [
        Made(
            None,
            one.id,
            one.lot_id,
            one.happened_at,
            one.units,
            cost_of_one(total_of(one), Decimal(one.units)),
        )
        for one in filled
    ]
    return sorted(found, key=lambda one: one.happened_at, reverse=True)[:LAST]


def latest_unit_cost(product: Product) -> Decimal | None:
    """Cost of one unit when it was last finished or filled, six decimals; None if never."""
    last = last_made(product)
    return last[0].per_unit if last else None


def _standing(product: Product) -> QuerySet[Filling]:
    undone = Entry.objects.filter(coop_id=OuterRef("coop_id"), reverses=OuterRef("entry_id"))
    return Filling.objects.filter(~Exists(undone), product=product)


def _ids(needs: Mapping[str, Fraction], packed: Iterable[Packaging]) -> set[UUID]:
    return {UUID(id) for id in needs} | {item.material_id for item in packed}


def _share(cost: PresentCost, quantity: Fraction) -> Share:
    if cost.each is None:
        raise CostUnknown(name=cost.name, material=str(cost.material_id))
    return Share(cost, round_stored(quantity), round_stored(quantity * cost.each))


def _dearest_first(shares: Iterable[Share]) -> tuple[Share, ...]:
    return tuple(sorted(shares, key=lambda share: (-share.value, share.cost.name)))
