"""Messages to programs: what is to be sent to whom, and what became of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import F

from ledger import outbox
from ledger.alert_mail import DROPPED, FAILED, NOTE_LENGTH, SENT, WAITING, end
from ledger.models import AlertMessage, AlertReceiver
from ledger.outbox import Work
from ledger.receivers import secrets_of


@dataclass(frozen=True, slots=True)
class Parcel:
    """A message to a program: its text, where it goes, the secrets that sign it, latest first.

    `tried` is how often an attempt has come to an end before.
    """

    id: UUID
    receiver_id: UUID
    address: str
    body: str
    secrets: Sequence[str]
    tried: int


def take_up(work: Work, now: datetime) -> Parcel | None:
    """What is to be sent now, or None: then it is seen to already, dropped or put off."""
    with outbox.inside(work):
        message = AlertMessage.objects.select_related("receiver").get(id=work.subject)
        receiver = message.receiver
        if message.state != WAITING or receiver is None:
            outbox.mark_done(work)
        elif receiver.removed_at is not None or receiver.disabled_at is not None:
            note = "the receiver was removed" if receiver.removed_at else "the receiver is gone"
            end([message], DROPPED, now, note=note)
            outbox.mark_done(work, note=note)
        elif receiver.resting_until is not None and receiver.resting_until > now:
            outbox.put_off(work, receiver.resting_until, "the receiver did not answer just now")
        else:
            secrets = secrets_of(receiver, now)
            return Parcel(
                message.id,
                receiver.id,
                receiver.address,
                message.body,
                secrets,
                message.attempts,
            )
    return None


def arrived(work: Work, parcel: Parcel, code: int, now: datetime) -> None:
    """Say that the receiver has it."""
    with outbox.inside(work):
        _tried(parcel, code, "", state=SENT, ended_at=now)
        AlertReceiver.objects.filter(id=parcel.receiver_id).update(resting_until=None)
        outbox.mark_done(work)


def missed(
    work: Work,
    parcel: Parcel,
    code: int | None,
    why: str,
    *,
    now: datetime,
    again_at: datetime | None,
    rest_until: datetime | None,
) -> None:
    """Say that it did not arrive; it is tried again then, or (None) not any more.

    A receiver that is to be left alone for a while is, with all that waits for it.
    """
    with outbox.inside(work):
        if rest_until is not None:
            AlertReceiver.objects.filter(id=parcel.receiver_id).update(resting_until=rest_until)
        if again_at is None:
            _tried(parcel, code, why, state=FAILED, ended_at=now)
            outbox.mark_done(work, note=why)
        else:
            _tried(parcel, code, why)
            outbox.put_off(work, again_at, why)


def gone(work: Work, parcel: Parcel, code: int, now: datetime) -> None:
    """Say that the receiver wants nothing any more: it is disabled, and hears of nothing new."""
    with outbox.inside(work):
        why = f"the receiver answered {code}: it is gone"
        _tried(parcel, code, why, state=FAILED, ended_at=now)
        AlertReceiver.objects.filter(id=parcel.receiver_id, disabled_at=None).update(
            disabled_at=now
        )
        outbox.mark_done(work, note=why)


def _tried(parcel: Parcel, code: int | None, why: str, **ended: Any) -> None:
    AlertMessage.objects.filter(id=parcel.id).update(
        attempts=F("attempts") + 1, last_code=code, note=why[:NOTE_LENGTH], **ended
    )
