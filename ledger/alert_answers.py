"""A maker's alerts as people see them: listed, acknowledged, put off."""

from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.db.models import QuerySet

from ledger.access import Actor, find
from ledger.announcing import Announcer
from ledger.errors import AlertClosed, Invalid
from ledger.models import Alert, AlertKind
from ledger.roles import Verb

LONGEST_SNOOZE: Final = timedelta(days=366)
# What tells a price is for those alone who may see such a price anywhere else.
TELLS: Final = {
    AlertKind.PRICE_JUMP: Verb.SEE_OFFERS,
    AlertKind.DEPOSIT_UNCLAIMED: Verb.SEE_COSTS,
}


def alerts(actor: Actor, *, open: bool | None = None, kind: str | None = None) -> "QuerySet[Alert]":
    """The maker's alerts with their materials and lots: all, or the open or closed, of a kind.

    An alert keeps the figures that it was opened with. Of prices and deposits only those are told
    who may see offers and costs.
    """
    actor.must(Verb.READ)
    rows = Alert.objects.select_related("material", "lot").filter(maker_id=actor.maker)
    rows = rows.exclude(kind__in=[one for one, verb in TELLS.items() if not actor.may(verb)])
    if kind is not None:
        rows = rows.filter(kind=kind)
    return rows if open is None else rows.filter(closed_at__isnull=open)


def alert_for(actor: Actor, id: UUID | str) -> Alert:
    """One of the maker's alerts. Raises NotFound."""
    return find(alerts(actor), id)


def acknowledge(actor: Actor, id: UUID | str, *, now: datetime) -> Alert:
    """Say that somebody has seen it: no mail of it goes out any more. The first to say so stays.

    Raises NotFound, and AlertClosed.
    """
    actor.must(Verb.WATCH)
    alert = _open_alert(actor, id)
    if alert.acknowledged_at is None:
        alert.acknowledged_at, alert.acknowledged_by_id = now, actor.person_id
        alert.save(update_fields=["acknowledged_at", "acknowledged_by"])
    return alert


def snooze(actor: Actor, id: UUID | str, *, until: datetime, now: datetime) -> Alert:
    """Say nothing of it until then, and then tell again if it is still so and not acknowledged.

    Raises NotFound, AlertClosed, and Invalid for a moment that is past or more than a year away.
    """
    actor.must(Verb.WATCH)
    alert = _open_alert(actor, id)
    if not now < until <= now + LONGEST_SNOOZE:
        raise Invalid("Give a moment within the next year.", pointer="/until")
    if alert.snoozed_until != until:
        alert.snoozed_until = until
        alert.save(update_fields=["snoozed_until"])
        Announcer(alert.coop_id, alert.maker_id).remind(alert, until)
    return alert


def _open_alert(actor: Actor, id: UUID | str) -> Alert:
    rows = alerts(actor).select_for_update(of=("self",), no_key=True)
    alert = find(rows, id)
    if alert.closed_at is not None:
        raise AlertClosed
    return alert
