"""How far long work is, for whoever waits: told beside the transaction, which shows nothing yet.

It stands with the broker and fades; without it the work is the same, and only less is told.
"""

import itertools
import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final
from uuid import UUID

import orjson
from redis import RedisError

from ledger import outbox

log = logging.getLogger(__name__)

_KEPT_S: Final = 15 * 60
_EVERY_S: Final = 1
# A worker that has told nothing for so long was stopped, or waits for something.
_STILL_S: Final = 60


@dataclass(frozen=True, slots=True)
class Reached:
    """So many of a `whole`, which may not be known yet, in this step of the work."""

    step: str
    done: int
    whole: int | None
    at: datetime

    def stands_still(self, now: datetime) -> bool:
        """Whether nothing has been told for a minute."""
        return (now - self.at).total_seconds() > _STILL_S


class Progress:
    """Tells of one piece of work, once a second at most, and that its worker is alive."""

    def __init__(self, subject: UUID) -> None:
        self.key, self.again = _key(subject), time.monotonic()

    def telling(self, step: str, whole: int | None = None) -> Callable[[int], None]:
        """What to call with how much is done of a step. Never raises."""
        self.again = time.monotonic()
        self._tell(step, 0, whole)
        return lambda done: self._tell(step, done, whole)

    def counting(self, step: str) -> Callable[[], None]:
        """What to call each time that something more is done. Never raises."""
        told, done = self.telling(step), itertools.count(1)
        return lambda: told(next(done))

    def forget(self) -> None:
        """There is nothing to wait for any more."""
        try:
            outbox.broker().delete(self.key)
        except RedisError as error:
            log.warning("progress: not forgotten: %s", error)

    def _tell(self, step: str, done: int, whole: int | None) -> None:
        if time.monotonic() < self.again:
            return
        told = orjson.dumps([step, done, whole, int(time.time())])
        try:
            outbox.broker().set(self.key, told, ex=_KEPT_S)
        except RedisError as error:
            log.warning("progress: not told: %s", error)
        outbox.beat_heart()
        self.again = time.monotonic() + _EVERY_S


def reached(subject: UUID) -> Reached | None:
    """How far the work is, if its worker has told. Never raises."""
    try:
        told = outbox.broker().get(_key(subject))
    except RedisError as error:
        log.warning("progress: not read: %s", error)
        return None
    if told is None:
        return None
    step, done, whole, at = orjson.loads(told)
    return Reached(step, done, whole, datetime.fromtimestamp(at, UTC))


def _key(subject: UUID) -> str:
    return f"stillroom:progress:{subject}"
