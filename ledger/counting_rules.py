"""What is counted how often, and how far a count may lie from the books (pure).

The ranking is the ABC analysis of the trade's textbooks: what few materials most of the money goes
through is counted often. The shares, intervals and tolerances are common practice.
"""

import calendar
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Final, TypeVar

from ledger.costing import round_stored

CLASSES: Final = ("A", "B", "C")
# A are the first 80 % of a year's use in money, B the next 15 %, C the rest.
A_SHARE, B_SHARE = Fraction(80, 100), Fraction(95, 100)
MONTHS_BETWEEN: Final = {"A": 1, "B": 3, "C": 12}
# Percent of the book figure.
TOLERANCE_PERCENT: Final = {"A": Decimal(1), "B": Decimal(2), "C": Decimal(5)}

Key = TypeVar("Key")


def rank(annual_values: Mapping[Key, Decimal]) -> dict[Key, str]:
    """Each material's class by its annual use x cost, the greatest first.

    A material is of the class in which its own stretch of the running total begins, so that the
    greatest is always A; what was not used is C. Ties keep the order in which they were given.
    """
    total = sum((Fraction(max(value, Decimal(0))) for value in annual_values.values()), Fraction(0))
    classes: dict[Key, str] = {}
    before = Fraction(0)
    for key, value in sorted(annual_values.items(), key=lambda pair: -pair[1]):
        if value <= 0 or before >= B_SHARE * total:
            classes[key] = "C"
        else:
            classes[key] = "A" if before < A_SHARE * total else "B"
        before += Fraction(max(value, Decimal(0)))
    return classes


def due_on(last_counted: date | None, abc_class: str) -> date | None:
    """The day of the next count: A monthly, B quarterly, C yearly; None means now.

    The same day of the month, or the month's last where it has fewer days.
    """
    if last_counted is None:
        return None
    months = last_counted.month - 1 + MONTHS_BETWEEN[abc_class]
    year, month = last_counted.year + months // 12, months % 12 + 1
    return date(year, month, min(last_counted.day, calendar.monthrange(year, month)[1]))


def tolerance(book: Decimal, percent: Decimal) -> Decimal:
    """How far a count may lie from the book figure: `percent` of it, to six decimals."""
    return round_stored(Fraction(book) * Fraction(percent) / 100)


def within(counted: Decimal, book: Decimal, allowed: Decimal) -> bool:
    """Whether a count agrees with the books; the limit itself still agrees."""
    return abs(counted - book) <= allowed


@dataclass(frozen=True, slots=True)
class Accuracy:
    """How many lots were counted, and how many of them agreed with the books."""

    counted: int
    within: int

    @property
    def percent(self) -> Decimal | None:
        """Record accuracy: counts within tolerance ÷ counts, in percent; None of none."""
        return percent_of(Decimal(self.within), Decimal(self.counted))


def percent_of(part: Decimal, whole: Decimal) -> Decimal | None:
    """`part` in percent of `whole`, to two decimals, ties away from zero; None of nothing."""
    if whole == 0:
        return None
    hundredths = Fraction(part) / Fraction(whole) * 10_000
    return round_stored(hundredths / 10**6).scaleb(4)
