"""Strong ETags on what can be edited, and If-Match before it is changed (RFC 9110, RFC 6585)."""

from typing import Final
from uuid import UUID

from rest_framework.request import Request

from api.errors import PreconditionRequired
from ledger.errors import Stale
from ledger.ids import same_id

# Digits that no version has.
LONG: Final = 10


def etag(id: UUID | str, version: int) -> str:
    """The ETag of a version of something."""
    return f'"{id}-{version}"'


def expected_version(request: Request, id: UUID | str) -> int | None:
    """The version that the caller has read, or None if any will do ("*").

    Raises PreconditionRequired without If-Match, and Stale for an ETag of something else.
    """
    given = request.headers.get("If-Match", "").strip()
    if not given:
        raise PreconditionRequired
    if given == "*":
        return None
    for tag in given.split(","):
        named, _, version = tag.strip().strip('"').rpartition("-")
        if same_id(named, id) and version.isdecimal() and len(version) < LONG:
            return int(version)
    raise Stale
