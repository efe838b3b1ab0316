"""What the type of a problem leads to: its code in a sentence."""

import re
from collections.abc import Iterator

from django.http import HttpRequest, HttpResponse, JsonResponse

from api import errors
from ledger.errors import NotFound, Refusal

# A sentence names its facts in braces; without facts, the name of each stands for it.
BLANK = re.compile(r"\{(\w+)[^}]*\}")

# What is said of one field, before anybody looks at what it means.
OF_FIELDS = {
    "required": "This field must be sent.",
    "null": "This field cannot be null; leave it out if there is nothing to say.",
    "blank": "This text cannot be empty.",
    "not_a_text": "This must be a text in quotes.",
    "max_length": "This is longer than may be sent; the document says how long it may be.",
    "min_length": "This is shorter than must be sent.",
    "empty": "This list must have at least one item.",
    "not_a_file": "This must be a file: a part of the form that has a filename.",
    "not_a_list": "This must be a list.",
    "not_a_decimal": 'This must be a decimal in quotes, such as "12.50".',
    "out_of_range": "This number or moment lies outside of what is possible here.",
    "min_value": "This number is too small; the document says how small it may be.",
    "max_value": "This number is too large; the document says how large it may be.",
    "invalid_choice": "This is none of the values that are possible here.",
    "offset_missing": 'A moment needs its offset from UTC, such as "2026-05-06T09:30:00Z".',
    "unknown_field": "There is no such field or parameter here; the document names them all.",
    "cursor_wrong": "A cursor belongs to one list with its filters; start again without it.",
}


def kinds(of: type[Refusal] = Refusal) -> Iterator[type[Refusal]]:
    """Every kind of refusal there is."""
    for kind in of.__subclasses__():
        yield kind
        yield from kinds(kind)


def explain(request: HttpRequest, code: str) -> HttpResponse:
    """One code, explained."""
    for kind in kinds():
        if kind.code == code and kind.__doc__:
            status = next((status for of, status in errors.STATUS if issubclass(kind, of)), 422)
            text = BLANK.sub(lambda blank: blank[1].upper(), " ".join(kind.__doc__.split()))
            return JsonResponse({"code": code, "status": status, "detail": text})
    if code in OF_FIELDS:
        return JsonResponse({"code": code, "status": 422, "detail": OF_FIELDS[code]})
    return not_found(request)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """No such address."""
    return _problem(404, NotFound.code, "There is nothing at this address.")


def unavailable(error: Exception) -> HttpResponse:
    """The database does not answer, or not in time: said as a problem, with when to come back."""
    body, headers = errors.unavailable(error), errors.UNAVAILABLE_HEADERS
    return JsonResponse(body, status=503, headers=headers, content_type="application/problem+json")


def server_error(request: HttpRequest) -> HttpResponse:
    """A fault of ours: said as a problem too, without a word of what went on inside."""
    return _problem(500, "fault", "This is a fault in the server; it has been written down.")


def locked_out(request: HttpRequest, answer: HttpResponse, credentials: object) -> HttpResponse:
    """Repeated wrong passwords: the view has already said so, and when to come back."""
    return answer


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """A request that Django itself could not read, such as one for another host."""
    return _problem(400, errors.BadRequest.code, "The request cannot be read.")


def _problem(status: int, code: str, detail: str) -> HttpResponse:
    body = errors.problem(status, detail, [{"pointer": "", "code": code, "detail": detail}])
    return JsonResponse(body, status=status, content_type="application/problem+json")
