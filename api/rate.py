"""A limit on requests per minute, kept in Redis so that all workers count together.

Counted is by token. Where there is none, or none that is known, the address is what is left:
requests without one, attempts to sign in, and requests that were refused for their token, since
tokens can be made up at will. An address that is over its limit keeps nobody out who is signed in.

Redis out of reach must not stop the work: then nothing is limited.
"""

import functools
import hashlib
import logging
import time

from django.conf import settings
from limits import RateLimitItemPerMinute
from limits.errors import StorageError
from limits.storage import storage_from_string
from limits.strategies import FixedWindowRateLimiter
from redis.exceptions import RedisError
from rest_framework.request import Request

from api.errors import TooMany

log = logging.getLogger(__name__)


@functools.cache
def _limiter() -> FixedWindowRateLimiter:
    storage = storage_from_string(
        settings.RATE_LIMIT_STORAGE_URL, socket_timeout=0.2, socket_connect_timeout=0.2
    )
    return FixedWindowRateLimiter(storage)


@functools.cache
def _limit() -> RateLimitItemPerMinute:
    return RateLimitItemPerMinute(settings.RATE_PER_MINUTE)


def check(request: Request) -> None:
    """Count a request by what it names itself by. Raises TooMany when its minute is used up."""
    token = request.headers.get("Authorization")
    if token:
        _count("token", hashlib.blake2b(token.encode(), digest_size=16).hexdigest())
    else:
        check_address(request)


def check_address(request: Request) -> None:
    """Count a request by its address, whatever it names. Raises TooMany."""
    _count("address", request.META.get("REMOTE_ADDR", ""))


def count_refused(request: Request) -> None:
    """Count a token that is not known against the address it came from. Raises TooMany."""
    _count("refused", request.META.get("REMOTE_ADDR", ""))


def _count(kind: str, caller: str) -> None:
    try:
        if _limiter().hit(_limit(), kind, caller):
            return
        reset = _limiter().get_window_stats(_limit(), kind, caller).reset_time
    except (RedisError, StorageError, OSError) as error:
        log.warning("The rate is not limited: %s", error)
        return
    wait = max(1, round(reset - time.time()))
    raise TooMany(
        f"More than {settings.RATE_PER_MINUTE} requests a minute; wait {wait} s.",
        Retry_After=str(wait),
        RateLimit_Policy=f'"default";q={settings.RATE_PER_MINUTE};w=60',
        RateLimit=f'"default";r=0;t={wait}',
    )
