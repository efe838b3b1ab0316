"""The record of every material, from planned batches down through all intermediates. Pure.

Level by level, parents first: what an intermediate's planned releases take is a need of what it is
made of (low-level coding; Orlicky, Material Requirements Planning, from memory). Quantities are
grams or pieces, and a period is a week from the first day on.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Final

from formulas.composition import Composed, Ingredient, Kind, Recipe, left_after_loss, parents_first
from formulas.scaling import to_step
from ledger.expiring import InStore, expiring_unused
from ledger.netting import Need, Netted, net_requirements

DAYS: Final = 7
ZERO: Final = Decimal(0)
Dated = Sequence[tuple[date, Decimal]]


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known at the start, by the id of the material; `made` is of the formula that makes
    it, and `recipes` hold these formulas and all under them. `lead_days` are from an order, or from
    the making, until it may be used; `safety` is what is to be there at the end of each week."""

    first: date
    weeks: int
    needs: Mapping[str, Dated]
    arriving: Mapping[str, Dated]
    stored: Mapping[str, Sequence[InStore]]
    made: Mapping[str, str]
    recipes: Mapping[str, Recipe]
    lead_days: Mapping[str, int]
    safety: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Week:
    """A period of a record; `expiring` is what is lost in it because nobody used it in time."""

    first: date
    last: date
    expiring: Decimal
    netted: Netted

    @property
    def needed(self) -> Decimal:
        """What is used in it; what is lost unused is no need."""
        return self.netted.gross - self.expiring


@dataclass(frozen=True, slots=True)
class Taken:
    """What an intermediate that is still to be planned will take of a material, and from when."""

    intermediate: str
    on: date
    grams: Decimal


@dataclass(frozen=True, slots=True)
class Record:
    """A material's weeks. `usable` is what may be used today, promises to batches included, and
    `safety` what is to be there still at the end of each. `taken` are those of its needs that are
    of intermediates, and `lost` is what nobody uses in time, by the day after its last."""

    material: str
    formula: str | None
    lead_days: int | None
    usable: Decimal
    weeks: tuple[Week, ...]
    safety: Decimal = ZERO
    taken: tuple[Taken, ...] = field(default=(), compare=False)
    lost: Dated = field(default=(), compare=False)

    @property
    def net(self) -> Decimal:
        """All that is not covered, up to the end."""
        return sum((week.netted.net for week in self.weeks), ZERO)

    @property
    def needed(self) -> Decimal:
        """All that is used, whoever needs it."""
        return sum((week.needed for week in self.weeks), ZERO)

    @property
    def left(self) -> Decimal:
        """What there is and is to come, less all that is used; below zero what is missing."""
        return self.usable + sum((week.netted.scheduled for week in self.weeks), ZERO) - self.needed


def records_of(facts: Facts) -> dict[str, Record]:
    """The record of every material that is needed, by its id, intermediates first.

    What is due before the first day counts as due on it. A need without grams to the step of the
    scale is none. Raises FormulaCycle.
    """
    needs: dict[str, list[tuple[date, Decimal]]] = defaultdict(list)
    needs |= {material: [*dated] for material, dated in facts.needs.items()}
    material_of = {formula: material for material, formula in facts.made.items()}
    taken: dict[str, list[Taken]] = defaultdict(list)
    found = {}
    for formula in _parents_first(facts.recipes):
        material = material_of[formula]
        if material not in needs:
            continue
        found[material] = record = _record(facts, material, needs[material], taken[material])
        recipe = facts.recipes[formula]
        for week in record.weeks:
            if output := week.netted.release:
                for child, grams in _parts(recipe, output, material_of):
                    needs[child].append((week.first, grams))
                    taken[child].append(Taken(material, week.first, grams))
    for material, dated in needs.items():
        if material not in found:
            found[material] = _record(facts, material, dated, taken[material])
    return found


def _parents_first(recipes: Mapping[str, Recipe]) -> tuple[str, ...]:
    """Every formula before what it contains, whichever is asked for: they lie under one of all."""
    every = tuple(Composed(Ingredient(Kind.FORMULA, formula), ZERO) for formula in recipes)
    return parents_first("", {**recipes, "": Recipe(every)})[1:]


def _parts(
    recipe: Recipe, output: Decimal, material_of: Mapping[str, str]
) -> list[tuple[str, Decimal]]:
    """What is weighed in for so much output, line by line."""
    weighed_in = Fraction(output) / left_after_loss(recipe.process_loss_percent)
    parts = []
    for line in recipe.lines:
        named = line.ingredient
        material = named.id if named.kind is Kind.MATERIAL else material_of[named.id]
        parts.append((material, to_step(weighed_in * Fraction(line.percent) / 100)))
    return [(material, grams) for material, grams in parts if grams]


def _record(facts: Facts, material: str, needs: Dated, taken: Sequence[Taken]) -> Record:
    stored = facts.stored.get(material, ())
    due = [(max(day, facts.first), quantity) for day, quantity in needs]
    # What can be used on its last day is lost on the day after.
    lost = [(day + timedelta(days=1), left) for day, left in expiring_unused(stored, due)]
    gross, expiring = _by_week(facts, due), _by_week(facts, lost)
    scheduled = _by_week(facts, facts.arriving.get(material, ()))
    usable = sum((lot.quantity for lot in stored), ZERO)
    lead, safety = facts.lead_days.get(material), facts.safety.get(material, ZERO)
    netted = net_requirements(
        [Need(g + e, s) for g, e, s in zip(gross, expiring, scheduled, strict=True)],
        usable=usable,
        safety=safety,
        lead_periods=-(-(lead or 0) // DAYS),
    )
    starts = [facts.first + timedelta(days=DAYS * week) for week in range(facts.weeks)]
    weeks = [
        Week(start, start + timedelta(days=DAYS - 1), one, row)
        for start, one, row in zip(starts, expiring, netted, strict=True)
    ]
    formula = facts.made.get(material)
    return Record(material, formula, lead, usable, tuple(weeks), safety, tuple(taken), lost)


def _by_week(facts: Facts, dated: Dated) -> list[Decimal]:
    found = [ZERO] * facts.weeks
    for day, quantity in dated:
        week = max(0, (day - facts.first).days // DAYS)
        if week < facts.weeks:
            found[week] += quantity
    return found
