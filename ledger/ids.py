"""Identifiers: UUID version 7 (RFC 9562 §5.7), so that new rows land at the end of an index."""

import os
import threading
import time
import uuid

_lock = threading.Lock()
_last = 0


def new_id() -> uuid.UUID:
    """A fresh UUIDv7: 48 bits of Unix milliseconds, then 74 random bits.

    Within this process each id is above the one before it (RFC 9562 §6.2, method 2), so that what
    was made first is listed first also within a millisecond.
    """
    global _last  # noqa: PLW0603 - what the last one was is the whole point
    fresh = (time.time_ns() // 1_000_000) << 74 | int.from_bytes(os.urandom(10), "big") >> 6
    with _lock:
        _last = fresh if fresh > _last else _last + 1
        bits = _last
    value = (bits >> 74) << 80 | 0x7 << 76 | (bits >> 62 & 0xFFF) << 64
    value |= 0b10 << 62 | bits & (1 << 62) - 1
    return uuid.UUID(int=value)


def same_id(one: uuid.UUID | str, other: uuid.UUID | str) -> bool:
    """Whether both name the same, in capitals or not: as texts they might differ."""
    try:
        return uuid.UUID(str(one)) == uuid.UUID(str(other))
    except ValueError:
        return False


def account_id(maker_id: uuid.UUID, name: str) -> uuid.UUID:
    """The id of a maker's account by its name: derived, so that nobody has to look it up."""
    return uuid.uuid5(maker_id, name)
