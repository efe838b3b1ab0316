"""What the type of a problem leads to: its code in a sentence."""

from collections.abc import Iterator

from django.http import HttpRequest, HttpResponse, JsonResponse

from api import errors
from ledger.errors import NotFound, Refusal


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
            text = " ".join(kind.__doc__.split())
            return JsonResponse({"code": code, "status": status, "detail": text})
    return not_found(request)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """No such address."""
    return _problem(404, NotFound.code, "There is nothing at this address.")


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
