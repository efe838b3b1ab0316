"""A limit on requests per minute and token, kept in Redis so that all workers count together.

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
    """Raises TooMany when the caller has used up its minute."""
    named = request.headers.get("Authorization") or request.META.get("REMOTE_ADDR", "")
    caller = hashlib.blake2b(named.encode(), digest_size=16).hexdigest()
    try:
        if _limiter().hit(_limit(), caller):
            return
        reset = _limiter().get_window_stats(_limit(), caller).reset_time
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
