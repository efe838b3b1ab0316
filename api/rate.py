"""A limit on requests per minute, kept in Redis so that all workers count together.

Counted is by token. Where there is none, or none that is known, the address is what is left:
requests without one, attempts to sign in, and requests that were refused for their token, since
tokens can be made up at will. An address that is over its limit keeps nobody out who is signed in.

A process asks Redis for several requests at once and lets them pass as they come, since asking
takes a good part of the time of a small one. What it does not use is lost with the minute, which
is less than a hundredth of the limit; a limit of a few requests is counted one by one.

Redis out of reach must not stop the work: then nothing is limited.
"""

import functools
import hashlib
import logging
import threading
import time

from django.conf import settings
from django.http import HttpRequest
from limits import RateLimitItemPerMinute
from limits.errors import StorageError
from limits.storage import storage_from_string
from limits.strategies import FixedWindowRateLimiter
from redis.exceptions import RedisError
from rest_framework.request import Request

from api.errors import TooMany
from ledger.errors import Sentence

log = logging.getLogger(__name__)


@functools.cache
def _limiter() -> FixedWindowRateLimiter:
    storage = storage_from_string(
        settings.RATE_LIMIT_STORAGE_URL, socket_timeout=0.2, socket_connect_timeout=0.2
    )
    return FixedWindowRateLimiter(storage)


@functools.cache
def limit() -> RateLimitItemPerMinute:
    """How many requests a caller may make in a minute."""
    return RateLimitItemPerMinute(settings.RATE_PER_MINUTE)


# What each caller may still do in this process, and until when.
_grants: dict[tuple[str, str], tuple[int, float]] = {}
_lock = threading.Lock()
MOST_CALLERS = 10_000


def _granted(kind: str, caller: str) -> bool:
    """Use up one of the requests that were granted before, if any is left."""
    with _lock:
        left, until = _grants.get((kind, caller), (0, 0.0))
        if not left or time.monotonic() >= until:
            return False
        _grants[kind, caller] = left - 1, until
        return True


def _grant(kind: str, caller: str, number: int) -> None:
    """Keep what was granted, for a minute at most."""
    if not number:
        return
    with _lock:
        if len(_grants) >= MOST_CALLERS:
            _grants.clear()
        _grants[kind, caller] = number, time.monotonic() + 60


def check(request: Request) -> None:
    """Count a request by what it names itself by. Raises TooMany when its minute is used up."""
    check_token(request, request.headers.get("Authorization") or "")


def check_token(request: Request | HttpRequest, token: str) -> None:
    """Count a request by its token, or by its address if there is none. Raises TooMany."""
    if token:
        _count("token", hashlib.blake2b(token.encode(), digest_size=16).hexdigest())
    else:
        check_address(request)


def check_address(request: Request | HttpRequest) -> None:
    """Count a request by its address, whatever it names. Raises TooMany."""
    _count("address", request.META.get("REMOTE_ADDR", ""))


def count_refused(request: Request | HttpRequest) -> None:
    """Count a token that is not known against the address it came from. Raises TooMany."""
    _count("refused", request.META.get("REMOTE_ADDR", ""))


def _count(kind: str, caller: str) -> None:
    if _granted(kind, caller):
        return
    several = max(1, settings.RATE_PER_MINUTE // 120)
    try:
        if _limiter().hit(limit(), kind, caller, cost=several):
            _grant(kind, caller, several - 1)
            return
        reset = _limiter().get_window_stats(limit(), kind, caller).reset_time
    except (RedisError, StorageError, OSError) as error:
        log.warning("The rate is not limited: %s", error)
        return
    wait = max(1, round(reset - time.time()))
    raise TooMany(
        Sentence(
            "More than {most} requests a minute; wait {wait} s.",
            most=settings.RATE_PER_MINUTE,
            wait=wait,
        ),
        Retry_After=str(wait),
        RateLimit_Policy=f'"default";q={settings.RATE_PER_MINUTE};w=60',
        RateLimit=f'"default";r=0;t={wait}',
    )
