"""Pages by cursor: where the last row ended, signed and bound to the list it belongs to."""

import re
from collections.abc import Callable
from functools import cache
from typing import Any, Final

from django.core import signing
from django.db import models
from rest_framework import serializers
from rest_framework.request import Request

from api.operation import Sent
from api.rest.fields import Body, Text

LONGEST: Final = 200
_SALT = "page"


class Paged(Body):
    """The parameters that every list takes."""

    limit = serializers.IntegerField(min_value=1, max_value=LONGEST, default=50)
    cursor = Text(max_length=500, required=False)


@cache
def page_of(shape: type[serializers.Serializer[Any]]) -> type[serializers.Serializer[Any]]:
    """How a page of such rows is described: of one shape there is one page."""
    name = re.sub("(Out|Brief|Row)$", "", shape.__name__) + "Page"
    fields = {"results": shape(many=True), "next": Text(allow_null=True)}
    return type(name, (serializers.Serializer,), fields)


def bound_to(request: Request) -> str:
    """What a cursor must not be carried away from: the list, its filters, the maker."""
    filters = sorted(
        (name, value)
        for name, value in request.query_params.items()
        if name not in ("cursor", "limit")
    )
    return f"{request.path} {filters} {request.headers.get('Maker', '')}"


def start_of(request: Request, query: dict[str, Any]) -> Any:
    """Where the page starts: the key of the row before it, or None."""
    text = query.get("cursor")
    if not text:
        return None
    try:
        where, place = signing.loads(text, salt=_SALT)
    except signing.BadSignature:
        where, place = "", None
    if where != bound_to(request):
        raise serializers.ValidationError(
            {
                "cursor": [
                    serializers.ErrorDetail(
                        "This cursor is not of this list; start again without it.", "cursor_wrong"
                    )
                ]
            }
        )
    return place


def cursor_at(request: Request, place: Any) -> str:
    """The cursor for the page that starts after `place`."""
    return signing.dumps([bound_to(request), place], salt=_SALT)


def links(request: Request, cursor: str | None) -> dict[str, str]:
    """The Link header of a page (RFC 8288)."""
    if cursor is None:
        return {}
    parameters = request.query_params.copy()
    parameters["cursor"] = cursor
    target = f"{request.path}?{parameters.urlencode()}"
    return {"Link": f'<{target}>; rel="next"'}


def page(
    request: Request,
    query: dict[str, Any],
    rows: "models.QuerySet[Any]",
    shape: Callable[[Any], Any],
    *,
    newest_first: bool = True,
) -> Sent:
    """One page of rows in order of their ids, which are in order of time."""
    start, limit = start_of(request, query), query["limit"]
    if start is not None:
        rows = rows.filter(id__lt=start) if newest_first else rows.filter(id__gt=start)
    found = list(rows.order_by("-id" if newest_first else "id")[: limit + 1])
    more = len(found) > limit
    cursor = cursor_at(request, str(found[limit - 1].id)) if more else None
    body = {"results": [shape(row) for row in found[:limit]], "next": cursor}
    return Sent(body, headers=links(request, cursor))
