"""Mails of alerts: one for each alert that is told at once, one that gathers for each digest.

Between the sending and the mark the worker may die; the mail then goes out once more, and its
Message-ID, made from the message's id, says that it is the same.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Final
from uuid import UUID

from django.core.mail import EmailMessage
from django.db.models import QuerySet

from ledger import outbox
from ledger.alert_texts import Told, told
from ledger.announcing import MAIL, MAIL_DIGEST, REMINDER, TEST, Announcer
from ledger.errors import Sentence
from ledger.models import Alert, AlertMessage, AlertReceiver, Maker, Membership
from ledger.outbox import Work

WAITING, SENT, DROPPED, FAILED = AlertMessage.State
NOTE_LENGTH: Final = 200


@outbox.does(MAIL)
def mail_alert(work: Work, now: datetime) -> None:
    """Mail one message, unless it need not be told any more or it is quiet just now."""
    with outbox.inside(work):
        message = _messages().get(id=work.subject)
        if message.state != WAITING:
            outbox.mark_done(work)
            return
        if _put_off(work, message, now):
            return
        addresses = _addresses(work.maker_id, message.receiver)
        why = _why_not(message, now) or _nobody(message.receiver, addresses)
        if why:
            end([message], DROPPED, now, note=why)
            outbox.mark_done(work, note=why)
            return
        mail = _one(work, message, addresses)
    _send(work, mail, [message], now)


@outbox.does(MAIL_DIGEST)
def mail_digest(work: Work, now: datetime) -> None:
    """Mail what has gathered for a digest and is still so; never an empty one."""
    with outbox.inside(work):
        found = list(_messages().filter(digest=work.subject, state=WAITING).order_by("id"))
        if not found:
            outbox.mark_done(work)
            return
        if _put_off(work, found[0], now):
            return
        receiver = found[0].receiver
        addresses = _addresses(work.maker_id, receiver)
        nobody = _nobody(receiver, addresses)
        whys = {one.id: _why_not(one, now) or nobody for one in found}
        for why in set(whys.values()) - {""}:
            end([one for one in found if whys[one.id] == why], DROPPED, now, note=why)
        kept = [one for one in found if not whys[one.id]]
        if not kept:
            outbox.mark_done(work, note="nothing is left to tell")
            return
        mail = _gathered(work, kept, addresses)
    _send(work, mail, kept, now)


def end(messages: Sequence[AlertMessage], state: str, now: datetime, note: str = "") -> None:
    """Say, in the open transaction, what became of messages."""
    ids = [one.id for one in messages]
    AlertMessage.objects.filter(id__in=ids).update(
        state=state, ended_at=now, note=note[:NOTE_LENGTH]
    )


def _send(work: Work, mail: EmailMessage, messages: Sequence[AlertMessage], now: datetime) -> None:
    ids = [one.id for one in messages]
    try:
        mail.send()
    except Exception as error:
        with outbox.inside(work):
            AlertMessage.objects.filter(id__in=ids).update(
                attempts=work.attempts, note=f"{type(error).__name__}: {error}"[:NOTE_LENGTH]
            )
        raise
    with outbox.inside(work):
        AlertMessage.objects.filter(id__in=ids).update(attempts=work.attempts)
        end(messages, SENT, now)
        outbox.mark_done(work)


def _messages() -> "QuerySet[AlertMessage]":
    return AlertMessage.objects.select_related("alert", "receiver")


def _put_off(work: Work, message: AlertMessage, now: datetime) -> bool:
    """Whether it is quiet, as after a failure or a long pause; the work then waits for the end."""
    if message.event == TEST:
        return False
    allowed = Announcer(work.coop_id, work.maker_id).clock.next_allowed(now)
    if allowed > now:
        outbox.put_off(work, allowed, "it is quiet")
    return allowed > now


def _why_not(message: AlertMessage, now: datetime) -> str:
    """Why a message need not be sent any more; "" if it is to be."""
    alert, receiver = message.alert, message.receiver
    if receiver is not None and receiver.removed_at is not None:
        return "the receiver was removed"
    if alert is None:
        return ""
    if alert.closed_at is not None:
        return "closed before it was mailed"
    if alert.acknowledged_at is not None:
        return "acknowledged before it was mailed"
    if alert.snoozed_until is not None and alert.snoozed_until > now:
        return "put off before it was mailed"
    return ""


def _nobody(receiver: AlertReceiver | None, addresses: Sequence[str]) -> str:
    return "" if receiver or addresses else "no owner has an e-mail address"


def _addresses(maker_id: UUID, receiver: AlertReceiver | None) -> list[str]:
    """The receiver's own address, or those of the maker's owners."""
    if receiver is not None:
        return [receiver.address]
    owners = Membership.objects.filter(maker_id=maker_id, role=Membership.Role.OWNER)
    found = owners.exclude(person__email="").filter(person__is_active=True)
    return sorted(found.values_list("person__email", flat=True))


def _one(work: Work, message: AlertMessage, addresses: Sequence[str]) -> EmailMessage:
    maker = Maker.objects.get(id=work.maker_id)
    if message.alert is None:
        words = Told(Sentence("A test of Stillroom's alerts"), ("Alerts will arrive here.",))
        return _mail(message.id, words.subject, words.lines, maker, addresses)
    words = told(message.alert.kind, message.alert.facts)
    subject = f"Still so: {words.subject}" if message.event == REMINDER else words.subject
    return _mail(
        message.id, subject, [*words.lines, "", _noticed(work, message.alert)], maker, addresses
    )


def _gathered(
    work: Work, messages: Sequence[AlertMessage], addresses: Sequence[str]
) -> EmailMessage:
    """One mail of many alerts, each with its heading."""
    maker = Maker.objects.get(id=work.maker_id)
    lines: list[str] = []
    for alert in [one.alert for one in messages if one.alert is not None]:
        words = told(alert.kind, alert.facts)
        lines += [words.subject, *(f"  {line}".rstrip() for line in words.lines), ""]
    things = "1 alert" if len(messages) == 1 else f"{len(messages)} alerts"
    return _mail(work.subject, f"{things} at {maker.name}", lines[:-1], maker, addresses)


def _noticed(work: Work, alert: Alert) -> str:
    zone = Announcer(work.coop_id, work.maker_id).clock.zone
    return f"Noticed:        {alert.opened_at.astimezone(zone):%-d %b %Y, %H:%M} ({zone.key})"


def _mail(
    id: UUID, subject: str, lines: Sequence[str], maker: Maker, addresses: Sequence[str]
) -> EmailMessage:
    return EmailMessage(
        subject=" ".join(subject.split()),
        body="\n".join([*lines, "", f"This is of {maker.name}.", ""]),
        to=list(addresses),
        headers={"Message-ID": f"<{id}@stillroom>"},
    )
