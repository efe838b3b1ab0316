"""A maker's alerts as they are opened and closed by what is found to be so.

Whoever finds says all that is so of a kind; what was not so before opens, what is no longer so
closes, and what is still so says nothing new. One transaction at a time looks at a maker's.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import connection

from ledger.announcing import Announcer
from ledger.models import Alert

# The key is of this use alone: nothing else locks by a text that begins so.
_LOCK = "select pg_advisory_xact_lock(hashtextextended('alerts of ' || %s::text, 0))"


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that is so of a subject: a material, a lot, a batch.

    `state_key` is what of it would be news; `facts` are figures as text, in grams or pieces.
    """

    subject: UUID
    facts: Mapping[str, Any] = field(default_factory=dict)
    state_key: str = ""
    material_id: UUID | None = None
    lot_id: UUID | None = None
    position: Decimal | None = None
    reorder_point: Decimal | None = None


def lock_alerts(maker_id: UUID) -> None:
    """Wait until nobody looks at this maker's alerts, and let nobody until the transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute(_LOCK, [str(maker_id)])


class Book:
    """The alerts of one maker, inside its walls and in the open transaction, at one moment."""

    def __init__(self, coop_id: UUID, maker_id: UUID, now: datetime) -> None:
        self.coop_id, self.maker_id, self.now = coop_id, maker_id, now
        self.announcer = Announcer(coop_id, maker_id)

    def lock(self) -> None:
        """Wait until nobody else looks at this maker; until the transaction ends."""
        lock_alerts(self.maker_id)

    def standing(self, kind: str, subjects: Collection[UUID] | None = None) -> dict[UUID, Alert]:
        """The open alerts of a kind by their subjects: all of them, or of these."""
        rows = Alert.objects.filter(maker_id=self.maker_id, kind=kind, closed_at=None)
        if subjects is not None:
            rows = rows.filter(subject__in=subjects)
        return {row.subject: row for row in rows}

    def settle(
        self, kind: str, found: Iterable[Finding], subjects: Collection[UUID] | None = None
    ) -> list[Alert]:
        """Open and close alerts of a kind so that they say what was found; returns those opened.

        `subjects` are those that were looked at, all of them where it is None.
        """
        standing, now_so = self.standing(kind, subjects), {one.subject: one for one in found}
        stays = {
            subject
            for subject, alert in standing.items()
            if subject in now_so and now_so[subject].state_key == alert.state_key
        }
        self.close([alert for subject, alert in standing.items() if subject not in stays])
        return self.open(kind, [one for subject, one in now_so.items() if subject not in stays])

    def open(self, kind: str, found: Iterable[Finding]) -> list[Alert]:
        """Open an alert for each; none of them is open already."""
        alerts = Alert.objects.bulk_create(
            Alert(
                coop_id=self.coop_id,
                maker_id=self.maker_id,
                kind=kind,
                subject=one.subject,
                state_key=one.state_key,
                material_id=one.material_id,
                lot_id=one.lot_id,
                position=one.position,
                reorder_point=one.reorder_point,
                facts=dict(one.facts),
                opened_at=self.now,
            )
            for one in found
        )
        if alerts:
            self.announcer.opened(alerts)
        return alerts

    def close(self, alerts: Collection[Alert]) -> None:
        """Close open alerts."""
        if not alerts:
            return
        Alert.objects.filter(id__in=[one.id for one in alerts]).update(closed_at=self.now)
        for one in alerts:
            one.closed_at = self.now
        self.announcer.closed([*alerts], self.now)
