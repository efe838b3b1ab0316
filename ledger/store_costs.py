"""What goods cost in a maker's store, by its cost formulas, before they are drawn."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from decimal import Decimal
from uuid import UUID

from ledger import costing
from ledger.access import Actor
from ledger.amounts import Amount
from ledger.costing import CostFormula, Draw
from ledger.errors import NotEnough, Sentence
from ledger.models import Layer, Material, Pool


@dataclass(frozen=True, slots=True)
class StoreDraw:
    """So much of a lot out of the store, and what it costs there."""

    material_id: UUID
    lot_id: UUID
    quantity: Decimal
    value: Decimal = Decimal(0)


def at_cost(actor: Actor, draws: Sequence[StoreDraw]) -> list[StoreDraw]:
    """The draws with what they cost by each material's cost formula, in this order.

    The pools are locked by then, and nothing else of these materials leaves with the same entry.
    """
    return costs_of(actor, {draw.material_id for draw in draws}).of(draws)


@dataclass(frozen=True, slots=True)
class StoreCosts:
    """The cost formulas and layers of some materials, and which are `counted`, as they are now."""

    formulas: Mapping[UUID, str]
    layers: Mapping[UUID, Sequence[costing.Layer]]
    counted: Set[UUID]

    def of(self, draws: Sequence[StoreDraw]) -> list[StoreDraw]:
        """The draws with what they would cost in this order, were nothing else drawn before.

        Raises NotEnough.
        """
        costed: dict[int, Decimal] = {}
        for material in {draw.material_id for draw in draws}:
            places = [n for n, draw in enumerate(draws) if draw.material_id == material]
            wanted = [Draw(str(draws[n].lot_id), draws[n].quantity) for n in places]
            formula = CostFormula(self.formulas[material])
            try:
                taken = costing.take(self.layers[material], wanted, formula)
            except NotEnough as refusal:
                raise _with_units(refusal, material in self.counted) from None
            costed |= {place: taken.value_of(order) for order, place in enumerate(places)}
        return [replace(draw, value=costed[place]) for place, draw in enumerate(draws)]


def _with_units(refusal: NotEnough, counted: bool) -> NotEnough:
    """The same, with figures that tell what they are of."""
    told = Sentence(
        "{wanted} is wanted and only {there} is there: take less, or receive more.",
        wanted=Amount(refusal.facts["wanted"], counted).rounded_up(),
        there=Amount(refusal.facts["available"], counted).rounded_down(),
    )
    return NotEnough(told, pointer=refusal.pointer, **refusal.facts)


def costs_of(actor: Actor, materials: Iterable[UUID]) -> StoreCosts:
    """What these materials cost in store, in two queries."""
    own = {
        "coop_id": actor.coop_id,
        "maker_id": actor.maker,
        "material_id__in": sorted(set(materials)),
    }
    pools = Pool.objects.filter(**own)
    known = list(pools.values_list("material_id", "cost_formula", "material__measured_by"))
    formulas = {material: formula for material, formula, _ in known}
    counted = {material for material, _, by in known if by == Material.MeasuredBy.COUNT}
    layers: dict[UUID, list[costing.Layer]] = defaultdict(list)
    for row in Layer.objects.filter(**own, any_left=True).order_by("ordinal"):
        lot = None if row.lot_id is None else str(row.lot_id)
        layers[row.material_id].append(costing.Layer(lot, row.quantity, row.value))
    return StoreCosts(formulas, layers, counted)
