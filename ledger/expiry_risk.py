"""How much of each dated lot will not be used before its last day, and when a material runs out.

Use is taken as even: so many grams or pieces a day, always from the lot that ends first. Common
practice (first expired, first out); a steady rate is an assumption, and the answer no better. What
is planned is known, and counts where it is more.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from uuid import UUID

# Nobody plans further, and the calendar ends.
FURTHEST = timedelta(days=3650)
A_DAY = timedelta(days=1)
Dated = Sequence[tuple[date, Decimal]]


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


def runs_out_on(
    lots: Sequence[DatedLot], coming: Dated, needs: Dated, daily_use: Decimal, today: date
) -> date | None:
    """The day by whose end all that there is has been used; None where nothing is, or not soon.

    There are the lots, each up to its last day, and what comes on a day; what has no last day comes
    today. Used by the end of a day is what is needed by then, each need on its day, or the usual
    use of so many days, today included, whichever is more: what is planned is no use beside the
    usual one. What was due before today is due today.
    """
    left = at_risk(_promised_all(lots, needs, today), daily_use, today)
    there = [(today, lot.quantity) for lot in lots] + [*coming]
    # What ends later than is told does not matter, and the last day of all has no day after it.
    ending = [lot for lot in lots if lot.last_day < today + FURTHEST and left[lot.lot]]
    there += [(lot.last_day + A_DAY, -left[lot.lot]) for lot in ending]
    there_by, needed_by = _by_day(there, today), _by_day(needs, today)
    has = needed = Decimal(0)
    days = sorted({today, *there_by, *needed_by})
    for day, following in zip(days, [*days[1:], today + FURTHEST], strict=True):
        has += there_by.get(day, Decimal(0))
        needed += needed_by.get(day, Decimal(0))
        if needed >= has and (needed or daily_use):
            return day
        if daily_use > 0 and has / daily_use <= (following - today).days:
            return max(day, today + timedelta(days=math.ceil(has / daily_use) - 1))
    return None


def _promised_all(lots: Sequence[DatedLot], needs: Dated, today: date) -> list[DatedLot]:
    """The lots as if all that is needed were promised, of what ends first and keeps so long.

    What is promised already is for the latest needs until the last day of its lot.
    """
    needed = _by_day(needs, today)
    in_order = sorted(lots, key=lambda one: (one.last_day, one.lot))
    for lot in in_order:
        _take(needed, lot.promised, sorted(needed, reverse=True), lot.last_day)
    return [
        replace(lot, promised=lot.promised + _take(needed, free, sorted(needed), lot.last_day))
        for lot, free in ((lot, lot.quantity - lot.promised) for lot in in_order)
    ]


def _take(
    needed: dict[date, Decimal], quantity: Decimal, days: Sequence[date], last: date
) -> Decimal:
    """How much of a quantity goes to what is needed until the last day, a day after the other."""
    taken = Decimal(0)
    for day in days:
        part = max(Decimal(0), min(needed[day], quantity - taken)) if day <= last else Decimal(0)
        needed[day] -= part
        taken += part
    return taken


def _by_day(dated: Dated, today: date) -> dict[date, Decimal]:
    found: dict[date, Decimal] = {}
    for day, quantity in dated:
        due = max(day, today)
        found[due] = found.get(due, Decimal(0)) + quantity
    return found
