"""What the worker runs. Each task is one call; what it is about stands in the database."""

import logging
from collections.abc import Callable
from datetime import timedelta
from typing import Any, Final

from celery import shared_task
from django.utils import timezone

from ledger import alerts, outbox, round_closing, verifying

log = logging.getLogger(__name__)

# Whoever does what the outbox owes says so when it is loaded, so a worker loads all of them.
DOERS: Final = (alerts, round_closing)

# Well within the time that a task may run, and within the minute that the worker's heartbeat lasts.
DRAIN_WITHIN: Final = timedelta(seconds=30)


def task(name: str) -> Callable[[Callable[..., None]], Any]:
    """Make a function a task; the name is what a message carries, whatever becomes of the file."""
    made: Callable[[Callable[..., None]], Any] = shared_task(name=name)
    return made


@task(outbox.DRAIN)
def drain_outbox(**kwargs: Any) -> None:
    """Do what is owed."""
    outbox.drain(DRAIN_WITHIN)


@task("ledger.sweep_watches")
def sweep_watches(**kwargs: Any) -> None:
    """Look for materials that ran low by the passing of time."""
    alerts.sweep_all(now=timezone.now())


@task("ledger.heartbeat")
def heartbeat(**kwargs: Any) -> None:
    """Leave word that a worker is at work."""
    outbox.beat_heart()


@task("ledger.verify")
def verify(**kwargs: Any) -> None:
    """Check that what is kept equals what was posted, and say so loudly if not."""
    found = verifying.verify_all(between=outbox.beat_heart)
    for disagreement in found.disagreements:
        log.error("verify: %s", disagreement)
    log.info("verify: %s", found.counted())


@task("ledger.forget")
def forget(**kwargs: Any) -> None:
    """Forget work that was done long ago."""
    outbox.forget()
