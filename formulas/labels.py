"""What else a label says: net contents in both systems, and how long the product lasts.

Sources: 21 CFR 701.13 and the Uniform Packaging and Labeling Regulation of NIST Handbook 130 for
the US (liquids by fluid measure, all else by weight; the rounding below is from memory of its text:
no more than three significant digits and two decimals, and never upwards, so that the label does
not overstate); Regulation (EC) No 1223/2009 Art 19(1)(b) and (c) for the EU.
"""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_DOWN, Decimal
from enum import StrEnum
from typing import Final

from ledger.errors import Sentence
from ledger.quantities import convert

# A millionth of the unit: contents are kept in so many decimals, and what was typed as 8 fl oz
# must not be read back as a hair less.
HAIR: Final = Decimal("0.000001")
LEAST_DECLARED: Final = Decimal(5)
DURABLE_MONTHS: Final = 30
# Fluid ounces in a pint, a quart and a gallon of the US; ounces in a pound.
_FLUID: Final = ((Decimal(128), "gal"), (Decimal(32), "qt"), (Decimal(16), "pt"))
_POUND: Final = ((Decimal(16), "lb"),)


@dataclass(frozen=True, slots=True)
class NetContents:
    """Net contents as a label states them; `by` is volume or mass."""

    us: str
    metric: str
    by: str
    required_in_eu: bool

    @property
    def text(self) -> str:
        return f"{'Net Wt ' if self.by == 'mass' else ''}{self.us}, {self.metric}"


def net_contents(*, millilitres: Decimal | None, grams: Decimal | None) -> NetContents:
    """The declared contents of one unit, by volume or by mass, one of them.

    A pint or a pound and more is also told in the largest whole units with the rest in ounces. In
    the EU a pack below 5 g or 5 mL need not state it.
    """
    if millilitres is not None:
        ounces = convert(f"{millilitres:f} mL", "fl oz")
        us, metric = _customary(ounces, "fl oz", _FLUID), _metric(millilitres, "mL", "L")
        return NetContents(us, metric, "volume", millilitres >= LEAST_DECLARED)
    grams = grams or Decimal(0)
    ounces = convert(f"{grams:f} g", "oz wt")
    us, metric = _customary(ounces, "oz", _POUND), _metric(grams, "g", "kg")
    return NetContents(us, metric, "mass", grams >= LEAST_DECLARED)


def not_overstated(amount: Decimal) -> Decimal:
    """Rounded down to three significant digits and at most two decimals."""
    amount += HAIR
    step = Decimal(1).scaleb(max(amount.adjusted() - 2, -2))
    return (amount / step).to_integral_value(ROUND_DOWN) * step


class Lasts(StrEnum):
    """How a label says how long the product lasts."""

    BEST_BEFORE = "best_before"
    AFTER_OPENING = "after_opening"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Durability:
    """A date, a period after opening in months, or neither, and then what is missing."""

    kind: Lasts
    text: str
    missing: str = ""


def durability(
    *, made_on: date | None, expires_on: date | None, opened_months: int | None
) -> Durability:
    """What Art 19(1)(c) asks: a best-before date up to 30 months, above them a period after
    opening.

    Without a date nobody may say that it lasts longer than 30 months. Above them a date may stand
    as well, so nothing is lost by it.
    """
    if expires_on is None or made_on is None:
        return Durability(
            Lasts.UNKNOWN,
            "",
            Sentence("The shelf life is not known: say in the formula how many days it keeps."),
        )
    if expires_on <= months_after(made_on, DURABLE_MONTHS):
        return Durability(Lasts.BEST_BEFORE, f"Best before {expires_on:%d %b %Y}")
    if opened_months is None:
        return Durability(
            Lasts.AFTER_OPENING,
            "",
            Sentence("It lasts more than 30 months: state how many months it keeps once opened."),
        )
    return Durability(Lasts.AFTER_OPENING, f"{opened_months}M after opening")


def months_after(day: date, months: int) -> date:
    """So many months later; the last of a shorter month where there is no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _metric(amount: Decimal, small: str, large: str) -> str:
    if amount >= 1000:
        return f"{_plain(not_overstated(amount / 1000))} {large}"
    return f"{_plain(not_overstated(amount))} {small}"


def _customary(ounces: Decimal, unit: str, larger: tuple[tuple[Decimal, str], ...]) -> str:
    total = not_overstated(ounces)
    stated = f"{_plain(total)} {unit}"
    if total < larger[-1][0]:
        return stated
    parts, rest = [], total
    for size, name in larger:
        whole = rest // size
        # A gallon is 128 fl oz, of which no more than one pint can be left beside the quarts.
        if whole:
            parts.append(f"{whole} {name}")
            rest -= whole * size
    if rest:
        parts.append(f"{_plain(rest)} {unit}")
    return f"{stated} ({' '.join(parts)})"


def _plain(amount: Decimal) -> str:
    return f"{amount.normalize():f}"
