"""The OpenAPI document: what the views say of themselves, and what is true of all of them."""

import functools
from typing import Any

import orjson
from django.http import HttpRequest, HttpResponse
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.openapi import AutoSchema
from rest_framework.serializers import ListSerializer

from api.rest.fields import Body

PROBLEM = {
    "type": "object",
    "description": "RFC 9457 problem details; `errors` says what is wrong, where, and what to do.",
    "required": ["type", "title", "status", "detail", "errors"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["pointer", "code", "detail"],
                "properties": {
                    "pointer": {"type": "string", "description": "JSON Pointer (RFC 6901)"},
                    "code": {"type": "string"},
                    "detail": {"type": "string"},
                },
            },
        },
    },
}
MAKER = {
    "name": "Maker",
    "in": "header",
    "schema": {
        "type": "string",
        "pattern": "^([0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12})?$",
    },
    "description": "Which of your makers you act for; not needed with one.",
}
KEY = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": True,
    "schema": {"type": "string", "minLength": 1, "maxLength": 255, "pattern": "^[!-~]+$"},
    "description": "A text of your own for this act: the same request happens once. Seven days.",
}
IF_MATCH = {
    "name": "If-Match",
    "in": "header",
    "required": True,
    "schema": {"type": "string", "pattern": r'^(\*|"[!#-~]+")$'},
    "description": "The ETag that you read.",
}
ALWAYS = {
    "400": "The request cannot be read.",
    "406": "Only JSON is sent.",
    "429": "Too many requests; wait as long as Retry-After says.",
    "503": "The database does not answer; try again.",
}
SIGNED_IN = {"401": "Not signed in.", "403": "Your role does not allow this."}
WITH_PATH = {"404": "Not there, or not yours."}
WITH_BODY = {
    "409": "The present state forbids this.",
    "413": "The body is too large.",
    "415": "The body is of another media type.",
    "422": "Read, but cannot be accepted.",
}
WITH_QUERY = {"422": "A parameter cannot be accepted."}
MATCHING = {"412": "Changed since you read it."}
EDITING = {"428": "If-Match is missing."}


class Described(AutoSchema):
    """Operations are named and summed up by the first line of what the method says of itself."""

    def get_summary(self) -> str | None:
        doc = getattr(getattr(self.view, self.method.lower(), None), "__doc__", None) or ""
        return doc.strip().split("\n")[0].rstrip(".") or None

    def _map_basic_serializer(self, serializer: Any, direction: str) -> Any:
        """What we are sent is closed: a field that is not known is refused."""
        base: Any = super()
        described = base._map_basic_serializer(serializer, direction)
        if isinstance(serializer, Body):
            described["additionalProperties"] = False
        return described

    def _map_serializer_field(
        self, field: Any, direction: str, bypass_extensions: bool = False
    ) -> Any:
        """A list of bodies has its bounds, as a list of plain values has by itself."""
        described = super()._map_serializer_field(  # type: ignore[no-untyped-call]
            field, direction, bypass_extensions
        )
        if isinstance(field, ListSerializer):
            for name, said in (("minItems", "min_length"), ("maxItems", "max_length")):
                if (bound := getattr(field, said)) is not None:
                    described[name] = bound
        return described

    def get_operation_id(self) -> str:
        words = [part for part in self.path.removeprefix("/api/v1/").split("/") if part]
        named = [word.strip("{}").replace("-", "_") for word in words]
        return "_".join([self.method.lower(), *named])


def complete(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Add to every operation what holds for all: sign-in, headers, problems."""
    components = result.setdefault("components", {})
    components.setdefault("schemas", {})["Problem"] = PROBLEM
    components["securitySchemes"] = {"bearer": {"type": "http", "scheme": "bearer"}}
    for path, operations in result["paths"].items():
        for method, operation in operations.items():
            _complete(path, operation, signs_in=path.endswith("/tokens") and method == "post")
    return result


def _complete(path: str, operation: dict[str, Any], *, signs_in: bool) -> None:
    keyed = operation.pop("x-keyed", False)
    writing = operation.pop("x-writes", False)
    editing = operation.pop("x-edits", False)
    matching = operation.pop("x-matches", False)
    conflict = operation.pop("x-conflict", "")
    problems = dict(ALWAYS)
    parameters = operation.setdefault("parameters", [])
    if not signs_in:
        operation["security"] = [{"bearer": []}]
        parameters.append(MAKER)
    problems |= SIGNED_IN
    if keyed:
        parameters.append(KEY)
    if writing or signs_in:
        problems |= WITH_BODY
    else:
        problems |= WITH_QUERY
    if "{" in path:
        problems |= WITH_PATH
    if conflict:
        problems["409"] = conflict
    if editing:
        parameters.append(IF_MATCH)
        problems |= MATCHING | EDITING
    if matching:
        parameters.append({**IF_MATCH, "required": False})
        problems |= MATCHING
    for status, text in problems.items():
        operation["responses"].setdefault(
            status,
            {
                "description": text,
                "content": {
                    "application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}
                },
            },
        )


@functools.cache
def document() -> bytes:
    """The document as JSON, made once in each process."""
    generator: Any = SchemaGenerator
    return orjson.dumps(generator().get_schema(request=None, public=True))


def schema(request: HttpRequest) -> HttpResponse:
    """The OpenAPI 3.1 document."""
    return HttpResponse(document(), content_type="application/vnd.oai.openapi+json")
