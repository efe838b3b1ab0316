"""How much of each dated lot will not be used before its last day, and when a material runs out.

Use is taken as even: so many grams or pieces a day, always from the lot that ends first. Common
practice (first expired, first out); a steady rate is an assumption, and the answer no better.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from uuid import UUID

# Nobody plans further, and the calendar ends.
FURTHEST = timedelta(days=3650)


@dataclass(frozen=True, slots=True)
class DatedLot:
    """What is left of a lot in grams or pieces, and the last day on which it may be used.

    `promised` is what planned batches will take of it in time, whatever the usual use is.
    """

    lot: UUID
    quantity: Decimal
    last_day: date
    promised: Decimal = Decimal(0)


def at_risk(lots: Sequence[DatedLot], daily_use: Decimal, today: date) -> dict[UUID, Decimal]:
    """What will be left of each lot after its last day, in grams or pieces, never below zero.

    Until the last day of a lot, itself and today included, so many days of use can be taken from
    it and from those that end earlier together: it can give what those have not taken. Past its
    last day a lot gives nothing, whatever is promised of it.
    """
    left: dict[UUID, Decimal] = {}
    taken = Decimal(0)
    for lot in sorted(lots, key=lambda one: (one.last_day, one.lot)):
        days = max(0, (lot.last_day - today).days + 1)
        usual = max(Decimal(0), daily_use * days - taken)
        used = min(lot.quantity, max(usual, lot.promised if days else Decimal(0)))
        taken += used
        left[lot.lot] = lot.quantity - used
    return left


def runs_out_on(available: Decimal, daily_use: Decimal, today: date) -> date | None:
    """The day on which so much is used up at that rate; None where nothing is used, or not soon."""
    if daily_use <= 0:
        return None
    days = max(Decimal(0), available) / daily_use
    return None if days > FURTHEST.days else today + timedelta(days=int(days))
