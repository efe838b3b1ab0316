"""What of the stock expires before anybody uses it, earliest expiry first. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class InStore:
    """So many grams or pieces that may be used up to a last day, or for ever."""

    quantity: Decimal
    last_day: date | None = None


def expiring_unused(
    stored: Sequence[InStore], needs: Sequence[tuple[date, Decimal]]
) -> list[tuple[date, Decimal]]:
    """How much is left on which last day, if each need takes what expires first and is in date.

    What comes later is younger, so it is used later and changes nothing of it.
    """
    lots = sorted(stored, key=lambda lot: (lot.last_day is None, lot.last_day or date.max))
    for day, needed in sorted(needs):
        still = needed
        for place, lot in enumerate(lots):
            if lot.last_day is None or lot.last_day >= day:
                taken = min(still, lot.quantity)
                lots[place] = replace(lot, quantity=lot.quantity - taken)
                still -= taken
    return [(lot.last_day, lot.quantity) for lot in lots if lot.last_day and lot.quantity > 0]
