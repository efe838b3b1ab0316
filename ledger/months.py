"""A month between a maker and the others: what was owed before it, and what is owed after it."""

import calendar
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from ledger.access import Actor
from ledger.closing import closed_up_to
from ledger.settling import ZERO, Balance, balances_of


@dataclass(frozen=True, slots=True)
class Month:
    """From its first day to its last; `closed` says that nothing is added to it any more.

    Each balance has what was owed `before` the month and its `amount` at the end.
    """

    first: date
    last: date
    closed: bool
    balances: Sequence[Balance]

    @property
    def opening(self) -> Decimal:
        return sum((one.before for one in self.balances), ZERO)

    @property
    def closing(self) -> Decimal:
        return sum((one.amount for one in self.balances), ZERO)


def month_of(actor: Actor, day: date, *, other: UUID | None = None) -> Month:
    """The month of a day, with one other maker alone if it is named. Raises Forbidden."""
    first = day.replace(day=1)
    last = day.replace(day=calendar.monthrange(day.year, day.month)[1])
    balances = balances_of(actor, since=first, until=last)
    return Month(
        first,
        last,
        (closed_up_to(actor) or date.min) >= last,
        [one for one in balances if other is None or one.other == other],
    )
