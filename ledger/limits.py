"""Limits of a specification, and whether a result lies inside them (pure).

The limits themselves still agree, and a result is compared as it was told, without rounding.
"""

from dataclasses import dataclass
from decimal import Decimal

from ledger.errors import (
    Invalid,
    Sentence,
)


@dataclass(frozen=True, slots=True)
class Limit:
    """A property with a low or high limit, or both, in a unit; or a text that must agree."""

    name: str
    low: Decimal | None = None
    high: Decimal | None = None
    unit: str = ""
    text: str = ""

    def __str__(self) -> str:
        if self.text:
            return f'"{self.text}"'
        if self.low is None:
            told = f"at most {_plain(self.high)}"
        elif self.high is None:
            told = f"at least {_plain(self.low)}"
        else:
            told = f"{_plain(self.low)} to {_plain(self.high)}"
        return f"{told} {self.unit}".strip()

    def check(self, pointer: str) -> None:
        """Raises Invalid for limits that say nothing, or that nothing can lie between."""
        bounded = self.low is not None or self.high is not None
        if bounded == bool(self.text):
            raise Invalid("Give a low or a high limit, or a text to agree with.", pointer=pointer)
        if self.low is not None and self.high is not None and self.low > self.high:
            raise Invalid("The low limit lies above the high one.", pointer=f"{pointer}/low")


def inside(limit: Limit, value: Decimal | None, text: str, unit: str, pointer: str = "") -> bool:
    """Whether a result agrees with its limit; texts agree without regard to capitals and spaces.

    Raises Invalid for a figure where a text is asked, the other way round, or another unit.
    """
    if limit.text:
        if value is not None or not text.strip():
            raise Invalid(
                Sentence("{limit} is told by a text.", limit=limit.name), pointer=f"{pointer}/text"
            )
        return " ".join(text.split()).casefold() == " ".join(limit.text.split()).casefold()
    if value is None or text:
        raise Invalid(
            Sentence("{limit} is told by a figure.", limit=limit.name), pointer=f"{pointer}/value"
        )
    if unit and unit != limit.unit:
        raise Invalid(
            Sentence(
                "{limit} is asked in {unit}: give the result in that.",
                limit=limit.name,
                unit=limit.unit or "no unit",
            ),
            pointer=f"{pointer}/unit",
        )
    return (limit.low is None or value >= limit.low) and (limit.high is None or value <= limit.high)


def _plain(value: Decimal | None) -> str:
    return "" if value is None else f"{value.normalize():f}"
