"""The one table from a refusal to its HTTP status, and the problem that answers it (RFC 9457)."""

from collections.abc import Iterator
from dataclasses import asdict
from decimal import Decimal
from http import HTTPStatus
from typing import Any

from django.conf import settings
from django.db.utils import InterfaceError, OperationalError
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response

from ledger.errors import (
    Conflict,
    Forbidden,
    Invalid,
    NotFound,
    Refusal,
    Stale,
    Unreadable,
)
from ledger.price_list_rows import ListRefused


class HttpRefusal(Refusal):
    """A refusal that HTTP itself knows, with the headers that go with it."""

    headers: dict[str, str]

    def __init__(self, detail: str = "", **headers: str) -> None:
        super().__init__(detail)
        self.headers = {name.replace("_", "-"): value for name, value in headers.items()}


class KeyMissing(Refusal):
    """Send an Idempotency-Key header, a text of your own for each act, so that a retry is safe."""

    code = "key_missing"


class KeyReused(Refusal):
    """This Idempotency-Key was used for another request; choose a new one for each act."""

    code = "key_reused"


class KeyInFlight(HttpRefusal):
    """The first request with this Idempotency-Key is still being answered; ask again shortly."""

    code = "key_in_flight"


class PreconditionRequired(Refusal):
    """Send If-Match with the ETag that you read, so that nobody's change is overwritten unseen."""

    code = "precondition_required"


class NotSignedIn(HttpRefusal):
    """Sign in with POST /api/v1/tokens and send the header "Authorization: Bearer TOKEN"."""

    code = "not_signed_in"


class CredentialsWrong(HttpRefusal):
    """The user name or the password is wrong."""

    code = "credentials_wrong"


class TooMany(HttpRefusal):
    """Too many requests; wait as long as Retry-After says."""

    code = "rate_limited"


class MakerNeeded(Refusal):
    """You work in several makers: name one with the header "Maker: ID"."""

    code = "maker_needed"


class BadRequest(Refusal):
    """The request cannot be read."""

    code = "malformed"


class MethodNotAllowed(Refusal):
    """This cannot be done here; the header Allow names the methods that can."""

    code = "method_not_allowed"


class NotAcceptable(Refusal):
    """Only JSON is sent: ask for application/json in the header Accept, or leave it out."""

    code = "not_acceptable"


class UnsupportedMediaType(Refusal):
    """Send JSON with the header "Content-Type: application/json"; where a file goes with it, a form
    (multipart/form-data)."""

    code = "unsupported_media_type"


class TooLarge(Refusal):
    """The body is larger than 1 MB; send it in parts."""

    code = "too_large"


class FileTooLarge(TooLarge):
    """A file may have at most {largest} MB: scan it in grey, with fewer dots per inch, or in
    parts."""

    code = "file_too_large"


def file_too_large() -> FileTooLarge:
    """The refusal with the limit of this server."""
    return FileTooLarge(largest=f"{settings.LARGEST_FILE / 1024**2:g}")


class Unavailable(Refusal):
    """The database does not answer; try again, with the same Idempotency-Key."""

    code = "unavailable"


class Busy(Refusal):
    """Others are at work on the same, or this took too long; try again, with the same
    Idempotency-Key."""

    code = "busy"


# The first class that fits decides.
STATUS: tuple[tuple[type[Refusal], int], ...] = (
    (KeyMissing, 400),
    (MakerNeeded, 400),
    (BadRequest, 400),
    (NotSignedIn, 401),
    (CredentialsWrong, 401),
    (Forbidden, 403),
    (NotFound, 404),
    (MethodNotAllowed, 405),
    (NotAcceptable, 406),
    (KeyInFlight, 409),
    (Stale, 412),
    (TooLarge, 413),
    (UnsupportedMediaType, 415),
    (KeyReused, 422),
    (PreconditionRequired, 428),
    (TooMany, 429),
    (Conflict, 409),
    (Invalid, 422),
    (Unreadable, 422),
    (Unavailable, 503),
    (Busy, 503),
)

UNAVAILABLE_HEADERS = {"Retry-After": "2"}
# What PostgreSQL calls it: lock_not_available, query_canceled, deadlock_detected.
BUSY_STATES = {"55P03", "57014", "40P01"}
# What DRF refuses by itself, in our words.
TRANSLATED: dict[type[Exception], type[Refusal]] = {
    Http404: NotFound,
    exceptions.MethodNotAllowed: MethodNotAllowed,
    exceptions.NotAcceptable: NotAcceptable,
    exceptions.UnsupportedMediaType: UnsupportedMediaType,
}


def status_of(refusal: Refusal) -> int:
    """The HTTP status. An id in a body that is not there is 422; in a path it is 404."""
    if isinstance(refusal, NotFound) and refusal.pointer:
        return 422
    return next((status for kind, status in STATUS if isinstance(refusal, kind)), 422)


def problem(status: int, detail: str, errors: list[dict[str, Any]]) -> dict[str, Any]:
    """An RFC 9457 problem; its type names the first error's code."""
    code = errors[0]["code"] if errors else "failed"
    return {
        "type": f"/api/v1/problems/{code}",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "errors": errors,
    }


def unavailable(error: Exception) -> dict[str, Any]:
    """The problem of a database that does not answer, or not in time."""
    busy = getattr(error.__cause__, "sqlstate", None) in BUSY_STATES
    why = Busy() if busy else Unavailable()
    return problem(503, why.detail, [{"pointer": "", "code": why.code, "detail": why.detail}])


def answer(refusal: Refusal, headers: dict[str, str] | None = None) -> Response:
    """The response that a refusal becomes."""
    status = status_of(refusal)
    facts = {name: _plain(fact) for name, fact in refusal.facts.items()}
    # A fact of the same name, such as a lot's code, is in the sentence.
    error = {**facts, "pointer": refusal.pointer, "code": refusal.code, "detail": refusal.detail}
    return problem_response(problem(status, refusal.detail, [error]), headers)


def _plain(fact: Any) -> Any:
    """A fact as JSON has it: decimals and ids as strings."""
    if isinstance(fact, Decimal):
        return f"{fact:f}"
    if isinstance(fact, list | tuple | set):
        return [_plain(one) for one in fact]
    if isinstance(fact, dict):
        return {str(name): _plain(one) for name, one in fact.items()}
    return fact if fact is None or isinstance(fact, bool | int | str) else str(fact)


def problem_response(body: dict[str, Any], headers: dict[str, str] | None = None) -> Response:
    return Response(body, body["status"], headers=headers, content_type="application/problem+json")


def handle(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's hook: every exception that has an answer gets it; the rest is a 500 for us to mend."""
    if isinstance(error, Refusal):
        return answer(error, error.headers if isinstance(error, HttpRefusal) else None)
    if isinstance(error, ListRefused):
        errors = [{"pointer": "/file", **asdict(one)} for one in error.errors]
        return problem_response(problem(422, str(error), errors))
    if type(error) in TRANSLATED:
        return answer(TRANSLATED[type(error)]())
    if isinstance(error, exceptions.ValidationError):
        errors = list(_errors(error.get_full_details(), ""))
        detail = errors[0]["detail"] if len(errors) == 1 else f"{len(errors)} values are wrong."
        return problem_response(problem(422, detail, errors))
    if isinstance(error, exceptions.APIException):
        errors = [{"pointer": "", "code": str(error.get_codes()), "detail": str(error.detail)}]
        return problem_response(problem(error.status_code, str(error.detail), errors))
    if isinstance(error, OperationalError | InterfaceError):
        return problem_response(unavailable(error), UNAVAILABLE_HEADERS)
    return None


def _errors(details: Any, pointer: str) -> Iterator[dict[str, Any]]:
    """DRF's nested details as a flat list with JSON Pointers (RFC 6901)."""
    if isinstance(details, dict) and set(details) == {"message", "code"}:
        yield {"pointer": pointer, "code": details["code"], "detail": str(details["message"])}
    elif isinstance(details, dict):
        for name, inner in details.items():
            escaped = str(name).replace("~", "~0").replace("/", "~1")
            yield from _errors(inner, pointer if name == WHOLE else f"{pointer}/{escaped}")
    else:
        for index, inner in enumerate(details):
            leaf = isinstance(inner, dict) and set(inner) == {"message", "code"}
            yield from _errors(inner, pointer if leaf else f"{pointer}/{index}")


WHOLE = "non_field_errors"
