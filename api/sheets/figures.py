"""How figures, days and sentences are written on paper.

What somebody prints from a page is written as that page is: its reader's numbers, units, days and
language (`api.pages.reader.Reader` is such a hand). What a program asks for, and what leaves for
somebody whose ways nobody knows, is plain.
"""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import ROUND_HALF_EVEN, Decimal
from math import ceil
from typing import Final, Protocol
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import ngettext

KILOGRAM: Final = Decimal(1000)


class Hand(Protocol):
    """How somebody writes."""

    def number(self, value: Decimal | int, places: int | None = None) -> str:
        """A number with its thousands parted; `places` rounds it half-even and keeps zeros."""

    def quantity(self, value: Decimal, counted: bool = False) -> str:
        """Grams, or pieces if it is counted, with their unit."""

    def day(self, value: date | datetime) -> str:
        """A day where the co-op is."""

    def moment(self, value: datetime) -> str:
        """A day and a time where the co-op is."""

    def written(self, text: str) -> str:
        """What was typed once and is kept as the ledger reads it."""

    def say(self, text: str) -> str:
        """A sentence of the domain."""


@dataclass(frozen=True, slots=True)
class Plain:
    """Figures that people of every language read: "1,234.5", "4 Dec 2026"."""

    time_zone: str = "UTC"

    def number(self, value: Decimal | int, places: int | None = None) -> str:
        value = Decimal(value)
        if places is None:
            return f"{value.normalize():,f}"
        return f"{value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN):,f}"

    def quantity(self, value: Decimal, counted: bool = False) -> str:
        """To three decimals: "11.34 kg", "320 g"."""
        if counted:
            return pieces(value, self)
        if abs(value) >= KILOGRAM:
            return f"{self.number(rounded(value / KILOGRAM))} kg"
        return f"{self.number(rounded(value))} g"

    def day(self, value: date | datetime) -> str:
        if isinstance(value, datetime):
            value = value.astimezone(ZoneInfo(self.time_zone)).date()
        return formats.date_format(value, "j M Y")

    def moment(self, value: datetime) -> str:
        return f"{self.day(value)}, {value.astimezone(ZoneInfo(self.time_zone)):%H:%M}"

    def written(self, text: str) -> str:
        return text

    def say(self, text: str) -> str:
        return str(text)


PLAIN: Final = Plain()


def grams(amount: Decimal, hand: Hand) -> str:
    """A mass as it is read off a scale: two decimals, more only where there are more."""
    shown = rounded(amount)
    return hand.number(shown, max(2, -int(shown.as_tuple().exponent)))


def quantity(amount: Decimal, counted: bool, hand: Hand) -> str:
    """Grams or pieces: "11.34 kg", "1 piece", "1,200 pieces"."""
    return pieces(amount, hand) if counted else hand.quantity(amount)


def pieces(amount: Decimal, hand: Hand) -> str:
    """A count with its unit; of a part of a piece so much is left, and no more."""
    said = ngettext("%(count)s piece", "%(count)s pieces", ceil(amount))
    return said % {"count": hand.number(rounded(amount))}


def share(percent: Decimal, hand: Hand) -> str:
    """A percent without its sign."""
    return hand.number(rounded(percent))


def rounded(amount: Decimal) -> Decimal:
    """To three decimals, or to three digits of what is less than a tenth."""
    places = max(3, 2 - amount.adjusted()) if amount else 3
    return amount.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN).normalize()
