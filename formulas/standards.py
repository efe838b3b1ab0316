"""Setting standard costs: of a formula version its materials; of a product the rest of a unit.

A standard is set from a day on and kept. A batch is judged by the one that was valid on the day
when it was finished, so that a new standard changes nothing that was told before (common practice:
standards are revised from a date on, and variances of closed batches stand).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from formulas.access import formula_for, product_for, versions_of
from formulas.alternates import prefetch_alternates
from formulas.errors import CostUnknown, StandardKept
from formulas.models import FormulaVersion, Product, StandardCost, StandardPrice
from formulas.products import check_policy
from formulas.recipes import recipes_under
from formulas.rolling import cost_per_gram, needs_per_gram
from ledger.access import Actor
from ledger.costing import GRAMS_PER_KG, round_stored
from ledger.entries import EXPLAINED, explained
from ledger.errors import (
    Invalid,
    NotFound,
    Sentence,
)
from ledger.ids import same_id
from ledger.models import Material
from ledger.present_costs import PresentCost, present_costs
from ledger.roles import Verb

ZERO = Decimal(0)
ONE = Fraction(1)
FIRST_YEAR, LAST_YEAR = 1900, 2199
DEAREST = Decimal(10**9)


@dataclass(frozen=True, slots=True)
class GivenPrice:
    """What a kilogram of a material, or a piece of packaging, is to cost by the standard."""

    material: UUID | str
    price: Decimal


@dataclass(frozen=True, slots=True)
class Policy:
    """Labour and overhead by the standard; what is None is as the product has it now."""

    minutes_per_batch: Decimal | None = None
    minutes_per_unit: Decimal | None = None
    hourly_rate: Decimal | None = None
    overhead_per_batch: Decimal | None = None
    overhead_percent: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Listed:
    """What a standard would list: a share in percent, or pieces in a unit, and what it costs now.

    The price is of a kilogram, or of a piece; None where it is not known.
    """

    material: Material
    share: Decimal
    price: Decimal | None


@dataclass(frozen=True, slots=True)
class _Taken:
    """A material of the standard: its share, and the formula that makes it, if one does.

    Without a share it only stands in for another, and its cost may be unknown.
    """

    material: Material
    share: Decimal
    component: UUID | None = None


def standards_of(actor: Actor) -> QuerySet[StandardCost]:
    """The maker's standards with their prices. Raises Forbidden."""
    actor.must(Verb.SEE_COSTS)
    prices = StandardPrice.objects.select_related("material").order_by("position")
    return (
        StandardCost.objects.select_related("version__formula", "product")
        .prefetch_related(Prefetch("prices", prices))
        .filter(maker_id=actor.maker)
    )


def to_be_priced(actor: Actor, of: FormulaVersion | Product) -> list[Listed]:
    """What a standard of this version or product would list. Raises Forbidden.

    If the cost of one material is not known, none is told.
    """
    actor.must(Verb.SEE_COSTS)
    version = of if isinstance(of, FormulaVersion) else None
    taken = _packaging_of(of) if isinstance(of, Product) else _materials_of(of)
    try:
        found = _present(actor, taken, version)
    except CostUnknown:
        found = {}
    prices = {id: price for id, (price, _) in found.items()}
    return [Listed(one.material, one.share, prices.get(one.material.id)) for one in taken]


def set_formula_standard(
    actor: Actor,
    *,
    formula: UUID | str,
    valid_from: date,
    version: int | None = None,
    prices: Sequence[GivenPrice] = (),
    note: str = "",
) -> StandardCost:
    """What a version of a formula should cost in materials from a day on.

    Its lines and its expected loss say how much of each; a material costs what was given, or what
    it costs now. An intermediate is rolled up from what its own materials cost now. Alternates are
    priced too, where their cost is known. Without `version` it is the one in force.

    Raises Forbidden, NotFound, Invalid, CostUnknown naming the material, StandardKept.
    """
    actor.must(Verb.SET_STANDARD_COST)
    found = _version(actor, formula, version)
    taken = _materials_of(found)
    kept = StandardCost(version=found)
    return _keep(actor, kept, valid_from, note, _priced(actor, taken, prices, found))


def set_product_standard(
    actor: Actor,
    *,
    product: UUID | str,
    valid_from: date,
    prices: Sequence[GivenPrice] = (),
    policy: Policy = Policy(),
    note: str = "",
) -> StandardCost:
    """What a product should cost in packaging, labour and overhead from a day on.

    Packaging is that of the product now, and costs what was given, or what it costs now.

    Raises Forbidden, NotFound, Invalid, CostUnknown naming the packaging, StandardKept.
    """
    actor.must(Verb.SET_STANDARD_COST)
    found = product_for(actor, product)
    figures = {field.name: getattr(policy, field.name) for field in fields(policy)}
    check_policy(figures)
    kept = StandardCost(product=found)
    for name, figure in figures.items():
        setattr(kept, name, getattr(found, name) if figure is None else figure)
    return _keep(actor, kept, valid_from, note, _priced(actor, _packaging_of(found), prices))


def _version(actor: Actor, formula: UUID | str, number: int | None) -> FormulaVersion:
    found = formula_for(actor, formula)
    wanted = found.version if number is None else number
    version = versions_of(actor).filter(formula=found, number=wanted).first()
    if version is None:
        raise NotFound(pointer="/version")
    return version


def _materials_of(version: FormulaVersion) -> list[_Taken]:
    """What a version takes of each material, and what may stand in for one of them."""
    prefetch_alternates(version)
    taken: dict[UUID, _Taken] = {}
    for line in version.lines.all():
        material = line.component.material if line.component else line.material
        before = taken[material.id].share if material.id in taken else ZERO
        taken[material.id] = _Taken(material, before + line.percent, line.component_id)
    for line in version.lines.all():
        for one in line.alternates.all():
            taken.setdefault(one.material_id, _Taken(one.material, ZERO))
    return list(taken.values())


def _packaging_of(product: Product) -> list[_Taken]:
    taken: dict[UUID, _Taken] = {}
    for item in product.packaging.all():
        before = taken[item.material_id].share if item.material_id in taken else ZERO
        taken[item.material_id] = _Taken(item.material, before + item.quantity)
    return list(taken.values())


def _priced(
    actor: Actor,
    taken: Sequence[_Taken],
    prices: Sequence[GivenPrice],
    version: FormulaVersion | None = None,
) -> list[StandardPrice]:
    """A price for each material: the one given, or else what it costs now."""
    given = _given(taken, prices)
    found = _present(actor, [one for one in taken if one.material.id not in given], version)
    basis = StandardPrice.Basis.GIVEN
    found |= {id: (price, basis) for id, price in given.items()}
    return [
        StandardPrice(
            position=place,
            material=one.material,
            share=one.share,
            price=found[one.material.id][0],
            basis=found[one.material.id][1],
        )
        for place, one in enumerate(one for one in taken if one.material.id in found)
    ]


def _given(taken: Sequence[_Taken], prices: Sequence[GivenPrice]) -> dict[UUID, Decimal]:
    """The prices that were given, each of a material that is in the standard."""
    found: dict[UUID, Decimal] = {}
    for place, price in enumerate(prices):
        pointer = f"/prices/{place}"
        named = [one for one in taken if same_id(price.material, one.material.id)]
        if not named:
            raise NotFound(
                "This is none of the materials of this standard.", pointer=f"{pointer}/material"
            )
        id = named[0].material.id
        if id in found:
            raise Invalid("This material stands here twice.", pointer=f"{pointer}/material")
        if not price.price.is_finite() or not 0 <= price.price <= DEAREST:
            raise Invalid(
                Sentence("A price is 0 to {dearest}.", dearest=DEAREST), pointer=f"{pointer}/price"
            )
        found[id] = price.price
    return found


def _present(
    actor: Actor, taken: Sequence[_Taken], version: FormulaVersion | None
) -> dict[UUID, tuple[Decimal, StandardPrice.Basis]]:
    """What these materials cost now, of a kilogram or of a piece; alternates only if known."""
    made = version is not None and any(one.component for one in taken)
    recipes = recipes_under(version) if version is not None and made else {}
    needs = {
        one.material.id: needs_per_gram(str(one.component), recipes)
        if one.component
        else {str(one.material.id): ONE}
        for one in taken
    }
    costs = present_costs(actor, {UUID(id) for each in needs.values() for id in each})
    found = {}
    for one in taken:
        below = needs[one.material.id]
        if one.share == 0 and any(costs[UUID(id)].each is None for id in below):
            continue
        each = cost_per_gram(below, _known(costs, below))
        price = each if one.material.counted else each * Fraction(GRAMS_PER_KG)
        basis = StandardPrice.Basis.ROLLED_UP
        if not one.component:
            basis = StandardPrice.Basis(costs[one.material.id].basis.value)
        found[one.material.id] = (round_stored(price), basis)
    return found


def _known(
    costs: Mapping[UUID, PresentCost], wanted: Mapping[str, Fraction]
) -> dict[str, Fraction]:
    known = {}
    for id in wanted:
        cost = costs[UUID(id)]
        if cost.each is None:
            raise CostUnknown(name=cost.name, material=id, pointer="/prices")
        known[id] = cost.each
    return known


def _keep(
    actor: Actor,
    standard: StandardCost,
    valid_from: date,
    note: str,
    prices: Sequence[StandardPrice],
) -> StandardCost:
    if not FIRST_YEAR <= valid_from.year <= LAST_YEAR:
        raise Invalid("This day is out of range.", pointer="/valid_from")
    standard.coop_id, standard.maker_id = actor.coop_id, actor.maker
    standard.valid_from, standard.note = valid_from, note
    standard.person_id = actor.person_id
    with explained():
        standard.save(force_insert=True)
    for price in prices:
        price.coop_id, price.maker_id, price.standard = actor.coop_id, actor.maker, standard
    StandardPrice.objects.bulk_create(prices)
    return standards_of(actor).get(id=standard.id)


EXPLAINED["standard_cost_kept"] = lambda facts: StandardKept(
    pointer="/valid_from", batch=facts["batch"], day=date.fromisoformat(facts["day"])
)
