"""What waits in the rounds of a co-op for whoever runs them, and for no maker of its own.

A round that is open is closed by the clock, or before (`ledger.rounds.close_round`); where the
maker that is to buy for all has not agreed, another is asked (`ledger.round_buyers.ask_another`);
what is closed is worked out by itself, or tells what stands in the way (`ledger.round_trouble`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db.models import Q

from ledger.access import Actor
from ledger.models import OrderRound
from ledger.roles import Verb
from ledger.rounds import rounds_of

# Nobody asks for a buyer of what closed so long ago.
A_MONTH: Final = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class Running:
    """Rounds by what waits in them, those first that close first; a round may be of two lists.

    Of those without a buyer it was asked and has not answered, or will not. `more` has the names
    of the lists that are cut.
    """

    open: Sequence[OrderRound]
    without_buyer: Sequence[OrderRound]
    in_work: Sequence[OrderRound]
    more: frozenset[str]


def rounds_to_run(actor: Actor, *, now: datetime, most: int) -> Running:
    """What waits for whoever acts for the co-op, so much of each at most, in three queries.

    Raises Forbidden.
    """
    actor.must(Verb.RUN_ROUNDS)
    is_open = Q(closed_at=None, closes_at__gt=now)
    lists = {
        "open": is_open,
        "without_buyer": Q(Q(buyer_agrees=None) | Q(buyer_agrees=False))
        & Q(orders_nothing=False, closes_at__gt=now - A_MONTH),
        "in_work": Q(reckoned_at=None) & ~is_open,
    }
    rows = rounds_of(actor).order_by("closes_at", "id")
    found: dict[str, Any] = {
        name: list(rows.filter(one)[: most + 1]) for name, one in lists.items()
    }
    more = frozenset(name for name, one in found.items() if len(one) > most)
    return Running(**{name: one[:most] for name, one in found.items()}, more=more)
