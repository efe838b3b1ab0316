"""Identifiers: UUID version 7 (RFC 9562 §5.7), so that new rows land at the end of an index."""

import os
import time
import uuid


def new_id() -> uuid.UUID:
    """A fresh UUIDv7: 48 bits of Unix milliseconds, then 74 random bits."""
    milliseconds = time.time_ns() // 1_000_000
    random = int.from_bytes(os.urandom(10), "big")
    value = (milliseconds & (1 << 48) - 1) << 80
    value |= 0x7 << 76 | (random >> 68 & 0xFFF) << 64
    value |= 0b10 << 62 | random & (1 << 62) - 1
    return uuid.UUID(int=value)


def account_id(maker_id: uuid.UUID, name: str) -> uuid.UUID:
    """The id of a maker's account by its name: derived, so that nobody has to look it up."""
    return uuid.uuid5(maker_id, name)
