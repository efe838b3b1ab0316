"""What every operation shares: one transaction, the walls, the role, safe retries.

A resource is a DRF view, one class per path; its methods say what they take and give:

    class Receipts(Resource):
        @writes(ReceiptIn, ReceiptOut, status=201)
        def post(self, actor, data): ...

`writes` parses the body, runs the method at a savepoint and keeps the answer for a retry;
`reads` parses the query. A method makes one domain call and returns what is to be sent.
"""

import functools
import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, ClassVar

from django.core.exceptions import ValidationError as DjangoValidationError
from django.db import transaction
from django.db.utils import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone
from drf_spectacular.utils import OpenApiRequest, extend_schema
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from api import errors, idempotency, problems, rate
from api.forms import Form
from api.rest.fields import Body
from api.signing import actor_of
from ledger import outbox
from ledger.access import Actor
from ledger.entries import explained

log = logging.getLogger(__name__)
# What an operation says that reads what is not there yet.
NOT_YET = "There is nothing to read in the present state."


@dataclass(slots=True)
class Sent:
    """What a method answers, when it is more than a body with the usual status.

    `kind` is the media type of what is no JSON.
    """

    body: Any
    status: int | None = None
    headers: dict[str, str] = field(default_factory=dict)
    kind: str | None = None
    # Fields that are not kept for a retry, which finds null in their place.
    once: tuple[str, ...] = ()


class Resource(APIView):
    """One path of the API."""

    actor: Actor
    kept: idempotency.Key | None = None
    now: datetime
    # Set by the decorators below: which HTTP methods keep their answers.
    keyed: ClassVar[frozenset[str]] = frozenset()

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        self.now = timezone.now()
        try:
            response = self._dispatch(request, *args, **kwargs)
        except (OperationalError, InterfaceError) as error:
            # The transaction could not begin, or nobody knows whether it was committed.
            log.exception("The database does not answer")
            return problems.unavailable(error)
        # What a maker has must not lie in a cache that others share.
        response.headers.setdefault("Cache-Control", "no-store")
        return response

    def _dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        with transaction.atomic(durable=True):
            response = super().dispatch(request, *args, **kwargs)
            if isinstance(response, Response):
                response.render()
            if response.status_code >= 400 and not getattr(response, "kept", False):
                transaction.set_rollback(True)
        return response

    def options(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Response:
        """The header Allow says it all."""
        return Response(status=204)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Before the method runs: negotiate, limit the rate, sign in, find an earlier answer."""
        super().initial(request, *args, **kwargs)
        rate.check(request)
        method = getattr(self, (request.method or "").lower(), None)
        keyed = getattr(method, "keyed", False)
        self.kept = idempotency.Key.of(request) if keyed else None
        self.actor = actor_of(request, self.kept)

    def handle_exception(self, exc: Exception) -> Response:
        """An earlier answer comes as an exception, since DRF has no other way out of `initial`."""
        if isinstance(exc, idempotency.Answered):
            return exc.response()
        return super().handle_exception(exc)


def writes(
    takes: type[BaseSerializer[Any]] | None,
    gives: Any,
    *,
    status: int = 201,
    keyed: bool = True,
    edits: bool = False,
    matches: bool = False,
    encoding: dict[str, Any] | None = None,
    **schema: Any,
) -> Callable[[Callable[..., Any]], Callable[..., Response]]:
    """An operation that changes something.

    `keyed` ones need an Idempotency-Key; one that `edits` what is there needs If-Match, and one
    that only `matches` it heeds If-Match where it is sent. `encoding` says of a form of what media
    types its files may be.
    """
    sent = takes if encoding is None else {Form.media_type: OpenApiRequest(takes, encoding)}

    def decorate(method: Callable[..., Any]) -> Callable[..., Response]:
        @functools.wraps(method)
        def run(self: Resource, request: Request, **path: Any) -> Response:
            response = _at_savepoint(self, request, method, takes, status, path)
            if self.kept is not None:
                response.kept = True  # type: ignore[attr-defined]
                self.kept.keep(self.actor, response)
            transaction.on_commit(outbox.hint)
            return response

        run.keyed = keyed  # type: ignore[attr-defined]
        described = extend_schema(
            request=sent,
            responses={status: gives},
            extensions={
                "x-keyed": keyed,
                "x-writes": True,
                "x-edits": edits,
                "x-matches": matches,
            },
            **schema,
        )(run)
        return described

    return decorate


def _read(takes: type[BaseSerializer[Any]], data: Any) -> Any:
    """What was sent, checked and read. Raises ValidationError."""
    try:
        return _reader(takes).run_validation(data)  # type: ignore[arg-type]
    except (ValidationError, DjangoValidationError):
        # Refused; only a serializer of its own tells the errors in full.
        serializer = takes(data=data)
        serializer.is_valid(raise_exception=True)
        return serializer.validated_data


@functools.cache
def _reader(takes: type[BaseSerializer[Any]]) -> BaseSerializer[Any]:
    """One serializer for all requests: making one copies every field, and reading changes none."""
    return takes()


def _at_savepoint(
    view: Resource,
    request: Request,
    method: Callable[..., Any],
    takes: type[BaseSerializer[Any]] | None,
    status: int,
    path: dict[str, Any],
) -> Response:
    """Run the method so that a refusal leaves nothing behind but its answer."""
    try:
        if view.kept is not None and view.kept.unreadable is not None:
            raise view.kept.unreadable
        with transaction.atomic(), explained():
            data: tuple[Any, ...] = ()
            if takes is not None:
                data = (_read(takes, request.data),)
            return response_of(method(view, view.actor, *data, **path), status)
    except Exception as error:
        response = errors.handle(error, {})
        if response is None or response.status_code >= 500:
            raise
        return response


def reads(
    takes: type[BaseSerializer[Any]] | None, gives: Any, *, conflict: str = "", **schema: Any
) -> Callable[[Callable[..., Any]], Callable[..., Response]]:
    """An operation that only looks. `takes` reads the query's parameters.

    `gives` is a serializer, or what is given by status and media type; `conflict` says when there
    is nothing to look at, which is answered by 409.
    """

    def decorate(method: Callable[..., Any]) -> Callable[..., Response]:
        @functools.wraps(method)
        def run(self: Resource, request: Request, **path: Any) -> Response:
            query = _read(takes or Body, request.query_params.dict())
            data = (query,) if takes else ()
            return response_of(method(self, self.actor, *data, **path), 200)

        parameters = [*schema.pop("parameters", []), *([takes] if takes else [])]
        responses = gives if isinstance(gives, dict) else {200: gives}
        described = extend_schema(
            parameters=parameters,
            responses=responses,
            extensions={"x-conflict": conflict},
            **schema,
        )(run)
        return described

    return decorate


def response_of(given: Any, status: int) -> Response:
    """A method's answer as a response; text is JSON that PostgreSQL made."""
    sent = given if isinstance(given, Sent) else Sent(given)
    body = sent.body.encode() if isinstance(sent.body, str) else sent.body
    response = Response(body, sent.status or status, headers=sent.headers, content_type=sent.kind)
    response.once = sent.once  # type: ignore[attr-defined]
    return response
