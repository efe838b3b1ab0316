"""Who hears of a maker's alerts: mail addresses, and programs with a secret to know us by.

No secret is kept anywhere. Each is made of the server's key, the receiver's id and a number, so
that what lies in the database or in a backup of it signs nothing. It is shown once.
"""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import QuerySet
from django.utils.crypto import salted_hmac

from ledger.access import Actor, find
from ledger.announcing import Announcer
from ledger.errors import (
    Invalid,
    NoSecret,
    ReceiverKnown,
    Sentence,
    placed,
)
from ledger.models import AlertMessage, AlertReceiver, Maker
from ledger.roles import Verb
from ledger.web_addresses import read_address

MOST: Final = 20
# For so long the secret before the latest signs as well (Standard Webhooks 1.0.0 leaves it open).
OVERLAP: Final = timedelta(hours=24)
MAIL, WEBHOOK = AlertReceiver.Channel


@dataclass(frozen=True, slots=True)
class Shown:
    """A receiver with its secret, which nobody is shown again; None for a mail address."""

    receiver: AlertReceiver
    secret: str | None


def receivers(actor: Actor) -> "QuerySet[AlertReceiver]":
    """The maker's receivers, those that were disabled too. Raises Forbidden."""
    actor.must(Verb.SET_ALERTS)
    return AlertReceiver.objects.filter(maker_id=actor.maker, removed_at=None)


def receiver_for(actor: Actor, id: UUID | str) -> AlertReceiver:
    """One of the maker's receivers. Raises NotFound."""
    return find(receivers(actor), id)


def add_receiver(actor: Actor, *, mail: str | None = None, webhook: str | None = None) -> Shown:
    """Send the maker's alerts to an address as well: a mail address, or a program's.

    With a mail address of its own, the maker's owners are no longer written to by themselves.
    Raises Invalid for neither or both, AddressRefused, ReceiverKnown, and Invalid for too many.
    """
    actor.must(Verb.SET_ALERTS)
    if (mail is None) == (webhook is None):
        raise Invalid("Give a mail address or a webhook, and only one of them.")
    channel, address = _checked(mail, webhook)
    # One at a time, so that they are counted and compared as they will be.
    Maker.objects.select_for_update(no_key=True).get(id=actor.maker)
    known = receivers(actor)
    if known.filter(channel=channel, address=address).exists():
        raise ReceiverKnown
    if known.count() >= MOST:
        raise Invalid(
            Sentence("Alerts go to {most} addresses at most; remove one first.", most=MOST)
        )
    made = AlertReceiver.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        channel=channel,
        address=address,
        person_id=actor.person_id,
    )
    return Shown(made, _secret(made.id, 1) if channel == WEBHOOK else None)


def _checked(mail: str | None, webhook: str | None) -> tuple[AlertReceiver.Channel, str]:
    if mail is None:
        with placed("/webhook"):
            read_address(webhook or "", allowed=settings.WEBHOOK_NETWORKS)
        return WEBHOOK, webhook or ""
    try:
        validate_email(mail)
    except ValidationError as error:
        raise Invalid("This is not a mail address.", pointer="/mail") from error
    return MAIL, mail


def remove_receiver(actor: Actor, id: UUID | str, *, now: datetime) -> None:
    """Send nothing there any more; what waits to be sent is dropped. Raises NotFound."""
    receiver = receiver_for(actor, id)
    receiver.removed_at = now
    receiver.save(update_fields=["removed_at"])


def renew_secret(actor: Actor, id: UUID | str, *, now: datetime) -> Shown:
    """Make a new secret; for a day the one before signs as well. Raises NotFound and NoSecret."""
    actor.must(Verb.SET_ALERTS)
    receiver = find(receivers(actor).select_for_update(no_key=True), id)
    if receiver.channel != WEBHOOK:
        raise NoSecret
    receiver.secrets_made += 1
    receiver.earlier_until = now + OVERLAP
    receiver.save(update_fields=["secrets_made", "earlier_until"])
    return Shown(receiver, _secret(receiver.id, receiver.secrets_made))


def send_test(actor: Actor, id: UUID | str, *, now: datetime) -> AlertMessage:
    """Owe a message that tells of nothing, to see whether it arrives. Raises NotFound."""
    receiver = receiver_for(actor, id)
    return Announcer(actor.coop_id, actor.maker).test(receiver, now)


def messages(
    actor: Actor, *, receiver: UUID | None = None, state: str | None = None
) -> "QuerySet[AlertMessage]":
    """What was sent, waits or failed, of all receivers or of one, with its alert. Raises Forbidden.

    One without a receiver goes to the maker's owners.
    """
    actor.must(Verb.SET_ALERTS)
    rows = AlertMessage.objects.select_related("receiver", "alert").filter(maker_id=actor.maker)
    if receiver is not None:
        rows = rows.filter(receiver_id=receiver)
    return rows if state is None else rows.filter(state=state)


def secrets_of(receiver: AlertReceiver, now: datetime) -> Sequence[str]:
    """The secrets that sign just now, the latest first."""
    numbers = [receiver.secrets_made]
    if receiver.earlier_until is not None and now < receiver.earlier_until:
        numbers.append(receiver.secrets_made - 1)
    return [_secret(receiver.id, number) for number in numbers]


def _secret(id: UUID, number: int) -> str:
    """32 bytes that nobody can make without the server's key (HMAC-SHA256)."""
    made = salted_hmac("stillroom.alert_receiver", f"{id}/{number}", algorithm="sha256").digest()
    return "whsec_" + base64.b64encode(made).decode()
