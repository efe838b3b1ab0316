"""What goods cost in a maker's store, by its cost formulas, before they are drawn."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from uuid import UUID

from ledger import costing
from ledger.access import Actor
from ledger.costing import CostFormula, Draw
from ledger.models import Layer, Pool


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
    """The cost formulas and layers of some materials, as they are now."""

    formulas: Mapping[UUID, str]
    layers: Mapping[UUID, Sequence[costing.Layer]]

    def of(self, draws: Sequence[StoreDraw]) -> list[StoreDraw]:
        """The draws with what they would cost in this order, were nothing else drawn before."""
        costed: dict[int, Decimal] = {}
        for material in {draw.material_id for draw in draws}:
            places = [n for n, draw in enumerate(draws) if draw.material_id == material]
            taken = costing.take(
                self.layers[material],
                [Draw(str(draws[n].lot_id), draws[n].quantity) for n in places],
                CostFormula(self.formulas[material]),
            )
            costed |= {place: taken.value_of(order) for order, place in enumerate(places)}
        return [replace(draw, value=costed[place]) for place, draw in enumerate(draws)]


def costs_of(actor: Actor, materials: Iterable[UUID]) -> StoreCosts:
    """What these materials cost in store, in two queries."""
    own = {
        "coop_id": actor.coop_id,
        "maker_id": actor.maker,
        "material_id__in": sorted(set(materials)),
    }
    formulas = dict(Pool.objects.filter(**own).values_list("material_id", "cost_formula"))
    layers: dict[UUID, list[costing.Layer]] = defaultdict(list)
    for row in Layer.objects.filter(**own, any_left=True).order_by("ordinal"):
        lot = None if row.lot_id is None else str(row.lot_id)
        layers[row.material_id].append(costing.Layer(lot, row.quantity, row.value))
    return StoreCosts(formulas, layers)
