"""Which lots to pour from: first expiry first, among those usable on the day of the batch.

ISO 22716 asks for the oldest released stock first; the trade's rule for goods with a date is
first expiry first (FEFO).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

RELEASED = "released"


@dataclass(frozen=True, slots=True)
class PickableLot:
    """A lot as it lies in the store: `available` is what no other batch has reserved.

    Quantities are grams, or pieces for what is counted. `received_order` grows with each
    receipt. Any status but "released" (quarantine, rejected, hold) keeps a lot from being used.
    """

    lot: str
    available: Decimal
    received_order: int
    status: str = RELEASED
    expires_on: date | None = None
    retest_on: date | None = None
    use_by: date | None = None

    @property
    def last_day(self) -> date | None:
        """The last day on which it may be used: the earliest of expiry, retest date and `use_by`,
        which an open one has."""
        dates = [day for day in (self.expires_on, self.retest_on, self.use_by) if day is not None]
        return min(dates, default=None)

    def usable_on(self, day: date) -> bool:
        """Released, and in date on that day; the last day itself still counts."""
        in_date = self.last_day is None or day <= self.last_day
        return self.status == RELEASED and in_date


@dataclass(frozen=True, slots=True)
class Pick:
    """A quantity to pour from one lot."""

    lot: str
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class Picked:
    """The picks for one line, what they fall short by, and the lots as the next line finds them."""

    picks: tuple[Pick, ...]
    short: Decimal
    lots: tuple[PickableLot, ...]


def pick(
    lots: Sequence[PickableLot], quantity: Decimal, day: date, *, before: Sequence[str] = ()
) -> Picked:
    """Pick `quantity` for a batch made on `day`; each lot stands in `lots` once.

    Lots with no date come last, and a tie goes to the one received earlier. Those named in
    `before` come before all others, in that order. What cannot be had is `short`: a plan may be
    made before the goods are there, so nothing is refused here.
    """
    turns = {lot: turn for turn, lot in enumerate(before)}
    usable = sorted(
        (lot for lot in lots if lot.usable_on(day)),
        key=lambda lot: (turns.get(lot.lot, len(turns)), *_turn(lot)),
    )
    wanted = quantity
    taken: dict[str, Decimal] = {}
    for lot in usable:
        part = min(wanted, lot.available)
        if part > 0:
            taken[lot.lot] = part
            wanted -= part
    return Picked(
        picks=tuple(Pick(lot, part) for lot, part in taken.items()),
        short=wanted,
        lots=tuple(
            replace(lot, available=lot.available - taken[lot.lot]) if lot.lot in taken else lot
            for lot in lots
        ),
    )


def _turn(lot: PickableLot) -> tuple[date, int]:
    return lot.last_day or date.max, lot.received_order
