"""The outbox owns the work: what is owed is a row, written with the change that causes it.

A worker claims a row (commit), does the work, and marks it done (commit). Whoever dies in between
leaves a claim that runs out, so every piece of work is done at least once. The broker carries only
a hint that there is something to do; without it the work is done a few seconds later.
"""

import functools
import logging
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from celery import current_app
from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone
from redis import Redis, RedisError
from redis.backoff import NoBackoff
from redis.retry import Retry

from ledger.access import set_walls
from ledger.models import Outbox
from ledger.statements import unhurried

log = logging.getLogger(__name__)

# What fails this often is parked until somebody looks: by then the pauses have grown to most of a
# day, and a piece of work that kills its worker must not do so for ever.
MOST_ATTEMPTS: Final = 12
FIRST_PAUSE: Final = timedelta(seconds=30)
KEPT_DAYS: Final = 30
DRAIN: Final = "ledger.drain_outbox"

_HINT_KEY, _HINT_MS = "stillroom:hint", 300
_WORKER_KEY, _WORKER_ALIVE_S = "stillroom:worker", 60
# A write must not wait for a broker that is gone: one short try, then none for a second.
_PATIENCE_S, _BROKER_PAUSE_S = 200 / 1000, 1


@dataclass(frozen=True, slots=True)
class Work:
    """One claimed row: whose it is, what is to be done, and which attempt this is."""

    coop_id: UUID
    maker_id: UUID
    id: UUID
    task: str
    subject: UUID
    attempts: int


@dataclass(frozen=True, slots=True)
class State:
    """How much is owed in all, since when, and how much has been given up."""

    owed: int
    oldest_due_at: datetime | None
    parked: int


Handler = Callable[[Work, datetime], None]
_handlers: dict[str, Handler] = {}


def does(task: str) -> Callable[[Handler], Handler]:
    """Name the function that does a kind of work.

    It opens its own transactions (`inside`) and calls `mark_done` in the last of them.
    """

    def register(handler: Handler) -> Handler:
        _handlers[task] = handler
        return handler

    return register


def owe(
    coop_id: UUID,
    maker_id: UUID,
    task: str,
    subjects: Iterable[UUID],
    *,
    due_at: datetime | None = None,
) -> None:
    """Owe work about each subject, in the open transaction; what waits already is not doubled.

    It is due at once, or not before `due_at`.

    What it is about must be locked by then, and looked at under the same lock by whoever does the
    work; else the work may be claimed, and done on what was there before, just before the commit.
    """
    due = {} if due_at is None else {"due_at": due_at}
    Outbox.objects.bulk_create(
        [
            Outbox(coop_id=coop_id, maker_id=maker_id, task=task, subject=subject, **due)
            for subject in sorted(set(subjects))
        ],
        ignore_conflicts=True,
    )


def claim() -> Work | None:
    """The next piece of work that is due, claimed for the length of the lease, or None.

    The lease (settings.OUTBOX_LEASE_S) is longer than a task may run, so that nobody is overtaken
    while alive.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "select * from ledger_claim_outbox(make_interval(secs => %s), %s)",
            [settings.OUTBOX_LEASE_S, MOST_ATTEMPTS],
        )
        row = cursor.fetchone()
    return Work(*row) if row else None


@contextmanager
def inside(work: Work) -> Iterator[None]:
    """One durable transaction inside the walls of the maker whose work it is."""
    with transaction.atomic(durable=True):
        set_walls(work.coop_id, work.maker_id)
        yield


def mark_done(work: Work, note: str = "") -> None:
    """Say, in the open transaction, that the work is done; `note` says why there was none."""
    Outbox.objects.filter(id=work.id).update(done_at=timezone.now(), last_error=note[:400])


def put_off(work: Work, until: datetime, note: str) -> None:
    """Say, in the open transaction, that the work is to be done later, and why.

    Somebody looked and decided so, so it is no failure: the count of attempts begins anew.
    """
    Outbox.objects.filter(id=work.id, done_at=None).update(
        claimed_until=until, due_at=until, attempts=0, last_error=note[:400]
    )


def mark_failed(work: Work, error: str) -> None:
    """Put the work off: half a minute, then twice as long after each failure.

    The claim stays and ends with the pause. Were it given back, the row would wait unclaimed once
    more and collide with one that came in the meantime. A claim that another worker has taken over
    is left alone.
    """
    again = timezone.now() + FIRST_PAUSE * 2 ** (work.attempts - 1)
    with inside(work):
        Outbox.objects.filter(id=work.id, attempts=work.attempts, done_at=None).update(
            claimed_until=again, due_at=again, last_error=error[:400]
        )


def drain(within: timedelta) -> int:
    """Do what is owed until nothing is due or the time is over; returns how much was tried."""
    end, tried = time.monotonic() + within.total_seconds(), 0
    while time.monotonic() < end and (work := claim()):
        tried += 1
        try:
            _handlers[work.task](work, timezone.now())
        except Exception as error:
            log.exception("outbox: %s of %s failed (attempt %d)", *_told(work))
            mark_failed(work, f"{type(error).__name__}: {error}")
    return tried


def _told(work: Work) -> tuple[str, UUID, int]:
    return work.task, work.subject, work.attempts


def state() -> State:
    """How the outbox stands over all co-ops."""
    with connection.cursor() as cursor:
        cursor.execute("select * from ledger_outbox_state(%s)", [MOST_ATTEMPTS])
        return State(*cursor.fetchone())


def release_parked() -> int:
    """Make what was parked due again, with all its attempts before it; returns how much."""
    with connection.cursor() as cursor:
        cursor.execute("select ledger_release_outbox(%s)", [MOST_ATTEMPTS])
        (released,) = cursor.fetchone()
    return int(released)


def forget() -> int:
    """Remove what was done long ago; returns how much."""
    with unhurried(), connection.cursor() as cursor:
        cursor.execute("select ledger_forget_outbox(make_interval(days => %s))", [KEPT_DAYS])
        (gone,) = cursor.fetchone()
    return int(gone)


class _BrokerPause:
    """Until when the broker is left alone because it did not answer."""

    until = time.monotonic()


def hint() -> None:
    """Tell the worker that something was written; call it after commit.

    Never raises and hardly waits: without the hint the worker looks a little later by itself. Of
    the hints within 0.3 s only the first is sent, and what it starts begins when that time is over.
    """
    if time.monotonic() < _BrokerPause.until:
        return
    try:
        if _redis().set(_HINT_KEY, 1, nx=True, px=_HINT_MS):
            _send()
    except Exception as error:  # Whatever it is, it must not spoil a write that is committed.
        _BrokerPause.until = time.monotonic() + _BROKER_PAUSE_S
        log.warning("outbox: no hint sent: %s", error)


def _send() -> None:
    """Send the hint on a connection of its own that gives up at once; the usual one waits."""
    options = {
        "max_retries": 0,
        "socket_timeout": _PATIENCE_S,
        "socket_connect_timeout": _PATIENCE_S,
    }
    with current_app.connection_for_write(transport_options=options) as wire:
        current_app.send_task(
            DRAIN, connection=wire, retry=False, countdown=_HINT_MS / 1000, expires=60
        )


def beat_heart() -> None:
    """Leave word that a worker is at work; the word fades after a minute. Never raises."""
    try:
        _redis().set(_WORKER_KEY, int(time.time()), ex=_WORKER_ALIVE_S)
    except RedisError as error:
        log.warning("outbox: no sign of life left: %s", error)


def broker_answers() -> bool:
    """Whether the broker answers."""
    try:
        return bool(_redis().ping())
    except RedisError:
        return False


def worker_alive() -> bool:
    """Whether a worker has been at work within the last minute, as far as the broker knows."""
    try:
        return bool(_redis().exists(_WORKER_KEY))
    except RedisError:
        return False


def broker() -> Redis:
    """The broker, for what may be lost with it. What is asked of it may raise RedisError."""
    return _redis()


@functools.cache
def _redis() -> Redis:
    # No retries: the client would repeat the whole wait a few times.
    return Redis.from_url(
        settings.REDIS_URL,
        socket_timeout=_PATIENCE_S,
        socket_connect_timeout=_PATIENCE_S,
        retry=Retry(NoBackoff(), 0),
    )
