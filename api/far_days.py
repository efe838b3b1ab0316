"""Days that are too far away to be meant."""

from datetime import date
from typing import Final

from ledger.errors import Invalid, Sentence

# Prices of further back, or of further ahead, are mostly a wrong year.
PRICE_YEARS: Final = 20


def refuse_far(day: date, today: date, years: int, pointer: str = "") -> None:
    """Raises Invalid for a day that is further away than that, which is mostly a wrong year."""
    if abs(day.year - today.year) > years:
        raise Invalid(
            Sentence(
                "The year {year} is too far away; the furthest here is {furthest}.",
                year=day.year,
                furthest=today.year + (years if day > today else -years),
            ),
            pointer=pointer,
        )
