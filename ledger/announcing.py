"""Who is told of an alert, and when: one message to each receiver of each event.

Messages are written with the event that they tell of, in one transaction, and each is work owed in
the outbox. People hear by mail, at once or in the digest and never in their quiet hours; programs
hear of every opening and closing at once.
"""

import json
import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import cached_property
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from ledger import outbox
from ledger.alert_settings import DIGEST, NEVER, Choices, choices_of
from ledger.models import Alert, AlertMessage, AlertReceiver, Coop
from ledger.quiet_hours import Clock

MAIL, MAIL_DIGEST, POST = "mail_alert", "mail_digest", "post_alert"
OPENED, CLOSED, REMINDER, TEST = AlertMessage.Event
_WORK_OF: Final = {AlertReceiver.Channel.MAIL: MAIL, AlertReceiver.Channel.WEBHOOK: POST}


class Announcer:
    """Writes the messages of one maker's alerts, inside its walls and in the open transaction."""

    def __init__(self, coop_id: UUID, maker_id: UUID) -> None:
        self.coop_id, self.maker_id = coop_id, maker_id

    def opened(self, alerts: Sequence[Alert]) -> None:
        """Tell everybody of alerts that have just opened."""
        self._write(
            [
                *(self._mail(one, OPENED, one.opened_at) for one in alerts),
                *(self._post(one, OPENED, one.opened_at) for one in alerts),
            ]
        )

    def closed(self, alerts: Sequence[Alert], moment: datetime) -> None:
        """Tell the programs of alerts that have just closed; people see it when they look."""
        self._write([self._post(one, CLOSED, moment) for one in alerts])

    def remind(self, alert: Alert, moment: datetime) -> None:
        """Tell people again from this moment on, if the alert is still open then."""
        told = AlertMessage.objects.filter(alert=alert, event=REMINDER, of_moment=moment)
        if not told.exists():
            self._write([self._mail(alert, REMINDER, moment)])

    def test(self, receiver: AlertReceiver, now: datetime) -> AlertMessage:
        """A message of no alert, to see whether it arrives."""
        body = _body("test", now, {}) if receiver.channel != AlertReceiver.Channel.MAIL else ""
        message = self._message(None, TEST, now, receiver, due_at=now, body=body)
        self._write([[message]])
        return message

    @cached_property
    def choices(self) -> Choices:
        """What the maker chose."""
        return choices_of(self.maker_id)

    @cached_property
    def _zone(self) -> str:
        return str(Coop.objects.values_list("time_zone", flat=True).get(id=self.coop_id))

    @cached_property
    def zone(self) -> ZoneInfo:
        """The time zone of the co-op, by whose days stock is counted."""
        return ZoneInfo(self._zone)

    @cached_property
    def clock(self) -> Clock:
        """The maker's own hours."""
        return self.choices.clock(self._zone)

    @cached_property
    def _receivers(self) -> list[AlertReceiver]:
        return list(active(self.maker_id))

    def _of(self, channel: str) -> list[AlertReceiver]:
        return [one for one in self._receivers if one.channel == channel]

    def _mail(self, alert: Alert, event: str, moment: datetime) -> list[AlertMessage]:
        telling = self.choices.telling(alert.kind)
        if telling == NEVER:
            return []
        clock, digested = self.clock, telling == DIGEST
        due = clock.next_digest(moment) if digested else clock.next_allowed(moment)
        # Without a receiver of its own the maker's owners hear of it.
        receivers: list[AlertReceiver | None] = [*self._of(AlertReceiver.Channel.MAIL)]
        return [
            self._message(alert, event, moment, receiver, due_at=due, digested=digested)
            for receiver in receivers or [None]
        ]

    def _post(self, alert: Alert, event: str, moment: datetime) -> list[AlertMessage]:
        receivers = self._of(AlertReceiver.Channel.WEBHOOK)
        if not receivers or self.choices.telling(alert.kind) == NEVER:
            return []
        body = _body(f"alert.{event}", moment, as_json(alert))
        return [
            self._message(alert, event, moment, receiver, due_at=moment, body=body)
            for receiver in receivers
        ]

    def _message(
        self,
        alert: Alert | None,
        event: str,
        moment: datetime,
        receiver: AlertReceiver | None,
        *,
        due_at: datetime,
        digested: bool = False,
        body: str = "",
    ) -> AlertMessage:
        to = receiver.id if receiver else self.maker_id
        return AlertMessage(
            coop_id=self.coop_id,
            maker_id=self.maker_id,
            alert=alert,
            event=event,
            of_moment=moment,
            receiver=receiver,
            digest=uuid.uuid5(to, due_at.isoformat()) if digested else None,
            body=body,
            due_at=due_at,
        )

    def _write(self, messages: Iterable[list[AlertMessage]]) -> None:
        """Keep the messages and owe each of them; those of one digest are owed together."""
        every = [message for some in messages for message in some]
        AlertMessage.objects.bulk_create(every)
        owed: dict[tuple[str, datetime], set[UUID]] = defaultdict(set)
        for one in every:
            channel = one.receiver.channel if one.receiver else AlertReceiver.Channel.MAIL
            task = MAIL_DIGEST if one.digest else _WORK_OF[AlertReceiver.Channel(channel)]
            owed[task, one.due_at].add(one.digest or one.id)
        for (task, due_at), subjects in owed.items():
            outbox.owe(self.coop_id, self.maker_id, task, subjects, due_at=due_at)


def active(maker_id: UUID) -> "QuerySet[AlertReceiver]":
    """The receivers of a maker that are to hear of what happens."""
    rows = AlertReceiver.objects.filter(maker_id=maker_id, removed_at=None, disabled_at=None)
    return rows.order_by("id")


def as_json(alert: Alert) -> dict[str, Any]:
    """What a program is told of an alert: all of it as it was found when it opened."""
    return {
        "id": str(alert.id),
        "kind": alert.kind,
        "subject": str(alert.subject),
        "material": str(alert.material_id) if alert.material_id else None,
        "lot": str(alert.lot_id) if alert.lot_id else None,
        "opened_at": alert.opened_at.isoformat(),
        "closed_at": alert.closed_at.isoformat() if alert.closed_at else None,
        "facts": alert.facts,
    }


def _body(type: str, moment: datetime, data: dict[str, Any]) -> str:
    """The payload that Standard Webhooks 1.0.0 asks for: type, timestamp, data."""
    told = {"type": type, "timestamp": moment.isoformat(), "data": data}
    return json.dumps(told, separators=(",", ":"), ensure_ascii=False)
