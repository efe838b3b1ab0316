"""Figures and days on paper, which people of every language read."""

from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

CENT: Final = Decimal("0.01")


def grams(amount: Decimal) -> str:
    """A mass as it is read off a scale: two decimals, more only where there are more."""
    rounded = _rounded(amount)
    return f"{rounded:,f}" if rounded % CENT else f"{rounded:,.2f}"


def quantity(amount: Decimal, counted: bool) -> str:
    """Grams or pieces for people, to three decimals: "11.34 kg", "320 g", "1,200 pieces"."""
    if counted:
        return f"{_short(amount)} {'piece' if amount == 1 else 'pieces'}"
    if abs(amount) >= 1000:
        return f"{_short(amount / 1000)} kg"
    return f"{_short(amount)} g"


def day(value: date) -> str:
    """A day with its month in letters: "4 Dec 2026"."""
    return f"{value.day} {value:%b %Y}"


def _short(amount: Decimal) -> str:
    return f"{_rounded(amount).normalize():,f}"


def _rounded(amount: Decimal) -> Decimal:
    """To three decimals, or to three digits of what is less than a tenth."""
    places = max(3, 2 - amount.adjusted()) if amount else 3
    return amount.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN).normalize()
