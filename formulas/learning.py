"""What past batches teach: the share that an ingredient added to effect usually came to.

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
    """Percent of the final mass over so many batches, to six decimals."""

    batches: int
    median_percent: Decimal
    spread: Spread
    low_percent: Decimal
    high_percent: Decimal


def learned(shares: Sequence[Fraction]) -> Learned | None:
    """Median and spread of the shares that past batches came to; None of none."""
    if not shares:
        return None
    quartiles = len(shares) >= FEWEST_FOR_QUARTILES
    low, high = (Fraction(1, 4), Fraction(3, 4)) if quartiles else (Fraction(0), Fraction(1))
    return Learned(
        batches=len(shares),
        median_percent=round_stored(quantile(shares, Fraction(1, 2))),
        spread=Spread.INTERQUARTILE_RANGE if quartiles else Spread.RANGE,
        low_percent=round_stored(quantile(shares, low)),
        high_percent=round_stored(quantile(shares, high)),
    )


def quantile(values: Sequence[Fraction], part: Fraction) -> Fraction:
    """The quantile of `part` from 0 to 1 of at least one value, exact."""
    ordered = sorted(values)
    place = (len(ordered) - 1) * part
    below = int(place)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (place - below) * (ordered[above] - ordered[below])
