"""Strong ETags on what can be edited, and If-Match before it is changed (RFC 9110, RFC 6585)."""

from uuid import UUID

from rest_framework.request import Request

from api.errors import PreconditionRequired
from ledger.errors import Stale


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
        if named == str(id) and version.isdigit():
            return int(version)
    raise Stale


def check_version(request: Request, id: UUID, version: int) -> None:
    """Raises unless the caller has read this very version."""
    expected = expected_version(request, id)
    if expected is not None and expected != version:
        raise Stale
