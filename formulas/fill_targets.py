"""The lowest fill that still keeps a net-contents rule, and what filling above it gives away.

The fills of one filler at one setting are taken as normally distributed about the target with a
known standard deviation (common practice of packers). All masses are grams.
"""

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum

from formulas.net_contents import Limits, Rule
from ledger.errors import Invalid

ZERO = Decimal(0)
# Quantiles of the standard normal distribution: 1 in 40 (97.5 %), as both rules have it, and 1 in
# 10,000, which packers' guides take for "none" (from memory of the UK Code of Practical Guidance
# for Packers and Importers). The tests compute them anew.
ONE_IN_40 = Decimal("1.959964")
ONE_IN_10000 = Decimal("3.719016")
STEP = Decimal("0.01")


class Floor(StrEnum):
    """What a target must clear."""

    MEAN = "mean"
    SHORT = "short"
    LEAST = "least"


@dataclass(frozen=True, slots=True)
class Target:
    """The lowest target in grams, to the step of the scale, and the condition that decides it.

    `floors` are the exact targets that each condition alone would want.
    """

    grams: Decimal
    governed_by: Floor
    floors: dict[Floor, Decimal]


@dataclass(frozen=True, slots=True)
class Giveaway:
    """Grams above nominal: of one unit, of so many, and their worth; none where it is below."""

    per_unit: Decimal
    units: int
    value_per_gram: Decimal | None

    @property
    def grams(self) -> Decimal:
        return self.per_unit * self.units

    @property
    def money(self) -> Decimal | None:
        """Not rounded; None where no cost is known."""
        return None if self.value_per_gram is None else self.grams * self.value_per_gram


def floors_of(limits: Limits, deviation: Decimal, units: int) -> dict[Floor, Decimal]:
    """The target that each condition of the rule wants, exact.

    The mean of so many units is at least nominal in 39 of 40 batches; no more than 1 in 40 units
    is below T1 (EU); no more than 1 in 10,000 is below the least that any may hold. Raises Invalid
    for a deviation below zero or no units.
    """
    if not (deviation.is_finite() and deviation >= 0):
        raise Invalid("A standard deviation is zero or more.", pointer="/standard_deviation")
    if units < 1:
        raise Invalid("A batch has at least one unit.", pointer="/units")
    floors = {
        Floor.MEAN: limits.nominal + ONE_IN_40 * deviation / Decimal(units).sqrt(),
        Floor.LEAST: limits.least + ONE_IN_10000 * deviation,
    }
    if limits.rule is Rule.EU:
        floors[Floor.SHORT] = limits.short + ONE_IN_40 * deviation
    return floors


def keeps(limits: Limits, target: Decimal, deviation: Decimal, units: int) -> bool:
    """Whether filling to `target` keeps every condition of the rule."""
    return all(target >= floor for floor in floors_of(limits, deviation, units).values())


def lowest_target(
    limits: Limits, deviation: Decimal, units: int, *, step: Decimal = STEP
) -> Target:
    """The lowest target, rounded up to `step`, that keeps the rule: a step less fails it."""
    floors = floors_of(limits, deviation, units)
    governing = max(floors, key=lambda floor: (floors[floor], floor is Floor.MEAN))
    steps = (floors[governing] / step).to_integral_value(rounding=ROUND_CEILING)
    return Target(steps * step, governing, floors)


def above(nominal: Decimal, fill: Decimal) -> Decimal:
    """Grams that a fill gives away above nominal; zero below it."""
    return max(ZERO, fill - nominal)


def percent_above(nominal: Decimal, fill: Decimal) -> Decimal:
    """The overfill of a fill in percent of nominal, below zero for too little."""
    return (fill - nominal) * 100 / nominal
