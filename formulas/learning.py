"""What past batches teach: the share that an ingredient added to effect usually came to, or what
the solids of an infusion kept.

The median, and as its spread the interquartile range, or the whole range as long as there are
fewer than four batches. Quartiles are by linear interpolation between order statistics, definition
7 of R. J. Hyndman and Y. Fan, "Sample Quantiles in Statistical Packages", The American
Statistician 50 (1996), 361-365.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from ledger.costing import round_stored

FEWEST_FOR_QUARTILES = 4


class Spread(StrEnum):
    """Which spread is stated."""

    INTERQUARTILE_RANGE = "interquartile_range"
    RANGE = "range"


@dataclass(frozen=True, slots=True)
class Learned:
    """What so many batches came to, to six decimals, in the unit of what was given."""

    batches: int
    median: Decimal
    spread: Spread
    low: Decimal
    high: Decimal


def learned(values: Sequence[Fraction]) -> Learned | None:
    """Median and spread of what past batches came to; None of none."""
    if not values:
        return None
    quartiles = len(values) >= FEWEST_FOR_QUARTILES
    low, high = (Fraction(1, 4), Fraction(3, 4)) if quartiles else (Fraction(0), Fraction(1))
    return Learned(
        batches=len(values),
        median=round_stored(quantile(values, Fraction(1, 2))),
        spread=Spread.INTERQUARTILE_RANGE if quartiles else Spread.RANGE,
        low=round_stored(quantile(values, low)),
        high=round_stored(quantile(values, high)),
    )


def quantile(values: Sequence[Fraction], part: Fraction) -> Fraction:
    """The quantile of `part` from 0 to 1 of at least one value, exact."""
    ordered = sorted(values)
    place = (len(ordered) - 1) * part
    below = int(place)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (place - below) * (ordered[above] - ordered[below])
