"""A formula while it is written, and versions of it beside each other: the sum and the cost."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Final
from uuid import UUID

from formulas.access import formula_for, version_for, versions_of
from formulas.composition import HUNDRED, Composed, Ingredient, Recipe
from formulas.models import FormulaVersion, Line
from formulas.recipes import composed, intermediates, recipes_below
from formulas.rolling import cost_per_gram, needs_per_gram
from formulas.unit_costs import Share, shared_out
from formulas.version_changes import Pair, Row, beside
from formulas.writing import ingredient_of, name_of
from ledger.access import Actor, find
from ledger.costing import GRAMS_PER_KG, round_stored
from ledger.present_costs import PresentCost, present_costs
from ledger.roles import Verb

# What is written has no id yet, and no formula has this one.
DRAFT: Final = ""


@dataclass(frozen=True, slots=True)
class CostPerKg:
    """What a kilogram of the output costs at present costs, in the co-op's currency.

    None where one of the materials was never bought; those are named in `unknown`. Otherwise the
    values of `shares` come to it: what all materials cost of it, through all intermediates and
    losses, the dearest first.
    """

    amount: Decimal | None
    unknown: tuple[str, ...] = ()
    shares: tuple[Share, ...] = ()


@dataclass(frozen=True, slots=True)
class SoFar:
    """What rows come to, in percent, whether one of them is the balance, and the cost, if whole."""

    stated: Decimal
    balance: bool
    cost: CostPerKg | None = None

    @property
    def left(self) -> Decimal:
        return HUNDRED - self.stated

    @property
    def over(self) -> Decimal:
        return -self.left

    @property
    def whole(self) -> bool:
        return self.left > 0 if self.balance else self.left == 0


@dataclass(frozen=True, slots=True)
class Beside:
    """Two versions of one formula, the pairs of their lines, and what each costs now.

    The costs are None for whoever may not see them.
    """

    before: FormulaVersion
    after: FormulaVersion
    pairs: Sequence[Pair]
    costs: tuple[CostPerKg, CostPerKg] | None


def so_far(
    actor: Actor, rows: Sequence[tuple[Ingredient | None, Decimal | None]], loss: Decimal
) -> SoFar:
    """What rows come to while they are written; a percent of None is the balance.

    An ingredient of None is not known yet. `loss` is the process loss in percent. The cost is told
    once all ingredients are known and the rows are whole, to whoever may see costs.
    """
    stated = sum((percent for _, percent in rows if percent is not None), Decimal(0))
    found = SoFar(stated, any(percent is None for _, percent in rows))
    lines = [
        Composed(ingredient, found.left if percent is None else percent)
        for ingredient, percent in rows
        if ingredient is not None
    ]
    if len(lines) < len(rows) or not found.whole or not 0 <= loss < HUNDRED:
        return found
    if not actor.may(Verb.SEE_COSTS):
        return found
    (cost,) = _costs(actor, [Recipe(tuple(lines), loss)])
    return SoFar(found.stated, found.balance, cost)


def versions_beside(actor: Actor, formula: UUID | str, before: int, after: int) -> Beside:
    """Two versions of a formula beside each other. Raises NotFound, Forbidden."""
    wanted = formula_for(actor, formula)
    rows = versions_of(actor).filter(formula=wanted)
    numbered = {row.number: row for row in rows.filter(number__in={before, after})}
    first, second = (numbered.get(number) or find(rows, "") for number in (before, after))
    recipes = [
        Recipe(composed(one.lines.all()), one.process_loss_percent) for one in (first, second)
    ]
    costs = _costs(actor, recipes) if actor.may(Verb.SEE_COSTS) else None
    pairs = beside(
        [_row(line) for line in first.lines.all()], [_row(line) for line in second.lines.all()]
    )
    return Beside(first, second, pairs, (costs[0], costs[1]) if costs else None)


def cost_of_version(
    actor: Actor,
    formula: UUID | str,
    number: int | None,
    instead: Mapping[UUID, Fraction] | None = None,
) -> tuple[FormulaVersion, CostPerKg]:
    """A version, without a number the one in force, and what a kilogram of it costs.

    `instead` are other costs of a gram of some materials. Raises NotFound, Forbidden.
    """
    actor.must(Verb.SEE_COSTS)
    version = version_for(actor, formula, number)
    return version, cost_of(actor, version, instead)


def cost_of(
    actor: Actor, version: FormulaVersion, instead: Mapping[UUID, Fraction] | None = None
) -> CostPerKg:
    """What a kilogram of a version costs now, or with other costs `instead`. Raises Forbidden."""
    actor.must(Verb.SEE_COSTS)
    recipe = Recipe(composed(version.lines.all()), version.process_loss_percent)
    (cost,) = _costs(actor, [recipe], instead)
    return cost


def _costs(
    actor: Actor, recipes: Sequence[Recipe], instead: Mapping[UUID, Fraction] | None = None
) -> list[CostPerKg]:
    """What each of these costs now, in a fixed number of queries."""
    below = recipes_below(actor.coop_id, intermediates(recipes))
    needs = [needs_per_gram(DRAFT, {**below, DRAFT: recipe}) for recipe in recipes]
    wanted = {UUID(id) for need in needs for id in need}
    known = {
        str(id): replace(cost, each=instead[id]) if instead and id in instead else cost
        for id, cost in present_costs(actor, wanted).items()
    }
    return [_cost(need, known) for need in needs]


def _cost(need: Mapping[str, Fraction], known: Mapping[str, PresentCost]) -> CostPerKg:
    each = {id: one.each for id, one in known.items() if one.each is not None}
    unknown = tuple(sorted(known[id].name for id in need if id not in each and id in known))
    if unknown:
        return CostPerKg(None, unknown)
    amount = round_stored(cost_per_gram(need, each) * Fraction(GRAMS_PER_KG))
    grams = {id: one * Fraction(GRAMS_PER_KG) for id, one in need.items()}
    values = shared_out(amount, [much * each[id] for id, much in grams.items()])
    shares = [
        Share(known[id], round_stored(much), value)
        for (id, much), value in zip(grams.items(), values, strict=True)
    ]
    return CostPerKg(amount, shares=tuple(sorted(shares, key=lambda one: -one.value)))


def _row(line: Line) -> Row:
    return Row(
        line.phase.name,
        name_of(line),
        ingredient_of(line),
        line.kind,
        line.percent,
        line.max_percent,
        line.max_celsius,
    )
