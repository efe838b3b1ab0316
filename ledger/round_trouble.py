"""What stands in the way of a round that is closed and not worked out."""

from dataclasses import dataclass
from datetime import datetime

from django.db import connection

from ledger.models import OrderRound
from ledger.outbox import MOST_ATTEMPTS


@dataclass(frozen=True, slots=True)
class Trouble:
    """How often it could not be worked out. It is tried again, unless it was given up: then it
    waits until whoever runs the server has it tried once more (`release_parked`)."""

    failed: int
    again_at: datetime
    given_up: bool


def trouble_of(round: OrderRound) -> Trouble | None:
    """None of a round that waits for its first try, or is worked out."""
    with connection.cursor() as cursor:
        cursor.execute("select * from ledger_round_trouble(%s, %s)", [round.id, MOST_ATTEMPTS])
        row = cursor.fetchone()
    return Trouble(*row) if row else None
