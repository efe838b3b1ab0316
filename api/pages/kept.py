"""What a device kept while the network was away: who typed it, and how long ago that was.

A device says how long ago something was done, and not when: its clock may be wrong, but it runs.
`api/static/kept.js` adds both to what a form sends.
"""

import hashlib
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

# What a form sends beside what was typed. Neither belongs to what its key stands for: the same
# form that is sent again is the same form, however long that took.
NAMES: Final = {"ago", "whose"}
# What is sent at once was done now; so is what a clock that was set meanwhile says.
AT_ONCE: Final = timedelta(minutes=1)
# For as long the server knows what it did under a form's key (api/sql/opening.sql).
LONGEST: Final = timedelta(days=7)


def done_at(ago: str, now: datetime) -> datetime:
    """The moment so many milliseconds before now; now itself for what no device can have kept."""
    if not (ago.isascii() and ago.isdecimal() and len(ago) <= 12):
        return now
    before = timedelta(milliseconds=int(ago))
    return now - before if AT_ONCE <= before <= LONGEST else now


def mark_of(maker: UUID | None, username: str) -> str:
    """Who is signed in and for which maker, as a mark that says neither; nothing without both."""
    if maker is None or not username:
        return ""
    return hashlib.sha256(f"{maker} {username}".encode()).hexdigest()[:16]
