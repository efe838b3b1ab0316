"""Whether what is kept equals what was posted, in every co-op."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from uuid import UUID

from django.db import connection

from ledger import outbox
from ledger.access import set_walls
from ledger.makers import all_coops
from ledger.statements import unhurried


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A rule that does not hold in a co-op, and the figures that show it."""

    coop: str
    rule: str
    detail: str

    def __str__(self) -> str:
        return f"{self.coop}: {self.rule}: {self.detail}"


@dataclass(slots=True)
class Verified:
    """What was looked at, and each disagreement found."""

    counts: dict[str, int] = field(default_factory=dict)
    disagreements: list[Disagreement] = field(default_factory=list)

    def counted(self) -> str:
        """The counts in one line."""
        return ", ".join(f"{what} {number}" for what, number in self.counts.items())


def verify_all(*, between: Callable[[], None] | None = None) -> Verified:
    """Compare holdings, layers and reservations with the postings of every co-op.

    Each co-op is read in one snapshot, so that it may be at work meanwhile. `between` is called
    after each of them, for whoever must show that this goes on.
    """
    found, coops = Verified(), all_coops()
    found.counts["co-ops"] = len(coops)
    for coop_id, slug in coops:
        _verify(coop_id, slug, found)
        if between is not None:
            between()
    found.counts["tasks parked"] = outbox.state().parked
    found.counts["disagreements"] = len(found.disagreements)
    return found


def _verify(coop_id: UUID, slug: str, found: Verified) -> None:
    with unhurried(), connection.cursor() as cursor:
        set_walls(coop_id, None)
        cursor.execute("select rule, detail from ledger_disagreements()")
        for rule, detail in cursor.fetchall():
            text = detail if isinstance(detail, str) else json.dumps(detail, sort_keys=True)
            found.disagreements.append(Disagreement(slug, rule, text))
        cursor.execute("select * from ledger_counts()")
        columns = [column.name for column in cursor.description]
        for what, number in zip(columns, cursor.fetchone(), strict=True):
            found.counts[what] = found.counts.get(what, 0) + number
