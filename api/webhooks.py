"""Alerts to programs, as Standard Webhooks 1.0.0 has it: signed, and tried again for days.

Whatever becomes of an attempt stands in the database, and so does the moment of the next one; a
worker that dies between the sending and the mark leaves a message that goes out once more with the
same `webhook-id`.
"""

import logging
import random
import time
from datetime import UTC, datetime, timedelta
from http.client import HTTPException
from typing import Final

from django.conf import settings
from standardwebhooks.webhooks import Webhook

from api import outgoing
from ledger import alert_posts, outbox
from ledger.alert_posts import Parcel
from ledger.announcing import POST
from ledger.errors import AddressRefused
from ledger.outbox import Work
from ledger.web_addresses import read_address

log = logging.getLogger(__name__)

# After the first attempt, which is made at once (Standard Webhooks 1.0.0); up to a tenth is added,
# so that what failed together does not come back together.
PAUSES: Final = (
    timedelta(seconds=5),
    timedelta(minutes=5),
    timedelta(minutes=30),
    timedelta(hours=2),
    timedelta(hours=5),
    timedelta(hours=10),
    timedelta(hours=14),
    timedelta(hours=20),
    timedelta(hours=24),
)
# A receiver that does not answer must not keep the worker from everybody else's alerts.
REST: Final = timedelta(minutes=1)
SLOW: Final = timedelta(seconds=3)
GONE: Final = 410


@outbox.does(POST)
def post_alert(work: Work, now: datetime) -> None:
    """Make one attempt at one message."""
    parcel = alert_posts.take_up(work, now)
    if parcel is None:
        return
    began = time.monotonic()
    try:
        code = _send(parcel)
    except (OSError, HTTPException, AddressRefused) as error:
        why = str(error) if isinstance(error, AddressRefused) else type(error).__name__
        _missed(work, parcel, None, f"no answer: {why}", rests=True)
        return
    if 200 <= code < 300:
        alert_posts.arrived(work, parcel, code, _now())
    elif code == GONE:
        log.info("webhook: receiver %s is gone", parcel.receiver_id)
        alert_posts.gone(work, parcel, code, _now())
    else:
        slow = time.monotonic() - began > SLOW.total_seconds()
        _missed(work, parcel, code, f"the receiver answered {code}", rests=slow)


def _send(parcel: Parcel) -> int:
    at = _now()
    id = str(parcel.id)
    signatures = [Webhook(secret).sign(id, at, parcel.body) for secret in parcel.secrets]
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "Stillroom",
        "webhook-id": id,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(signatures),
    }
    allowed = settings.WEBHOOK_NETWORKS
    address = read_address(parcel.address, allowed=allowed)
    return outgoing.post(address, parcel.body.encode(), headers, allowed=allowed)


def _missed(work: Work, parcel: Parcel, code: int | None, why: str, *, rests: bool) -> None:
    now = _now()
    pause = PAUSES[parcel.tried] if parcel.tried < len(PAUSES) else None
    again_at = None if pause is None else now + pause * random.uniform(1, 1.1)  # noqa: S311
    rest_until = now + REST if rests else None
    alert_posts.missed(work, parcel, code, why, now=now, again_at=again_at, rest_until=rest_until)


def _now() -> datetime:
    return datetime.now(UTC)
