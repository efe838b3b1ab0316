"""Request bodies made of the OpenAPI document, and the ids that stand in them."""

import copy
import json
import uuid
from collections.abc import Iterator
from typing import Any

from api import schema
from tests.api.client import Answer, Client
from tests.api.files import pdf

DOCUMENT: dict[str, Any] = json.loads(schema.document())
# What stands for a file, which no JSON can hold.
UPLOADED = "a file"
LONGEST_ID = 64
NOWHERE = "0198a7b0-0000-7000-8000-00000000ffff"
# What an id in a body or a query is of, by its name.
OF_FIELD = {
    "material": "material",
    "only": "material",
    "supplier": "supplier",
    "lot": "lot",
    "lots": "lot",
    "other_lot": "lot",
    "formula": "formula",
    "product": "product",
    "line": "line",
    "sale": "sale",
    "corrects": "measurement",
    "maker": "maker",
    "buyer": "maker",
    "documents": "document",
    "without": "supplier",
    "weighing": "weighing",
    "order": "order",
    "order_line": "order_line",
    "place": "place",
    "lies_in": "place",
    "receiver": "receiver",
}


class Body:
    """A body that the document's schema accepts, made of the maker's own ids."""

    def __init__(self, own: dict[str, list[str]]) -> None:
        self.own = own

    def of(self, described: dict[str, Any], name: str = "") -> Any:
        """The smallest value of a schema that names every id it may."""
        if "$ref" in described:
            described = DOCUMENT["components"]["schemas"][described["$ref"].rpartition("/")[2]]
        for choice in ("oneOf", "allOf", "anyOf"):
            if choice in described:
                return self.of(described[choice][0], name)
        if "enum" in described:
            return described["enum"][0]
        if described.get("format") == "binary":
            return UPLOADED
        if described.get("type") == "object" or "properties" in described:
            return self._object(described)
        if described.get("type") == "array":
            return [self.of(described["items"], name)]
        return self._plain(described, name)

    def _object(self, described: dict[str, Any]) -> dict[str, Any]:
        wanted = set(described.get("required", []))
        inner: dict[str, Any] = described.get("properties", {})
        made = {}
        for name, one in inner.items():
            if name in OF_FIELD or name in wanted or self._holds_ids(one):
                made[name] = self.of(one, name)
        # A line is a percent, the balance or to effect; a batch is of units or of grams.
        if "percent" in inner and "balance" in inner:
            made["percent"] = "100"
        if "units" in inner and "planned_for" in inner:
            made["units"] = 1
        if "batch" in inner and not {"planned_for", "cause"} & set(inner):
            made["batch"] = "1 kg"
        return made

    def _holds_ids(self, described: dict[str, Any]) -> bool:
        if "$ref" in described:
            described = DOCUMENT["components"]["schemas"][described["$ref"].rpartition("/")[2]]
        inner = described.get("items") or {}
        properties = {**described.get("properties", {})}
        return any(name in OF_FIELD for name in properties) or bool(
            inner and self._holds_ids(inner)
        )

    def _plain(self, described: dict[str, Any], name: str) -> Any:
        # An id is no longer than this; the place of a count is what its sheet is headed.
        if name in OF_FIELD and described.get("maxLength", 0) <= LONGEST_ID:
            return self.own[OF_FIELD[name]][0]
        if name == "service_level_percent":
            return "95"
        if described.get("type") == "boolean":
            return True
        if described.get("type") == "integer":
            return 1
        if described.get("format") == "date":
            return "2025-05-08"
        if described.get("format") == "date-time":
            return "2025-05-08T09:00:00Z"
        if "g/mL" in described.get("description", ""):
            return "1.26 g/mL"
        if "kg" in str(described.get("examples", "")):
            return "1 g"
        return "1"


def is_id(value: Any) -> bool:
    return isinstance(value, str) and len(value) == len(NOWHERE) and value.count("-") == 4


def settled(body: Any) -> Any:
    """The body with one of what excludes each other, so that it is accepted as it stands."""
    if isinstance(body, list):
        return [settled(inner) for inner in body]
    if not isinstance(body, dict):
        return body
    twice = {"material", "formula"} <= set(body) or {"product", "formula"} <= set(body)
    left_out = {"formula"} if twice else set()
    return {name: settled(inner) for name, inner in body.items() if name not in left_out}


def places(body: Any, pointer: str = "") -> Iterator[tuple[str, str]]:
    """Where ids stand in a body, by pointer, and of what kind they are."""
    if isinstance(body, list):
        for place, inner in enumerate(body):
            yield from places(inner, f"{pointer}/{place}")
    elif isinstance(body, dict):
        for name, inner in body.items():
            if name in OF_FIELD and isinstance(inner, list):
                yield from ((f"{pointer}/{name}/{n}", OF_FIELD[name]) for n in range(len(inner)))
            elif name in OF_FIELD and is_id(inner):
                yield f"{pointer}/{name}", OF_FIELD[name]
            else:
                yield from places(inner, f"{pointer}/{name}")


def put(body: Any, pointer: str, value: str) -> Any:
    """The body with another value at a pointer, and nothing that excludes it beside it."""
    changed = copy.deepcopy(body)
    *way, last = pointer.strip("/").split("/")
    inner = changed
    for step in way:
        if isinstance(inner, dict) and {"formula", "material"} <= set(inner):
            del inner["formula"]
        inner = inner[int(step)] if isinstance(inner, list) else inner[step]
    inner[int(last) if isinstance(inner, list) else last] = value
    if last in ("formula", "material") and {"formula", "material"} <= set(inner):
        del inner["material" if last == "formula" else "formula"]
    if {"product", "formula"} <= set(inner) and "planned_for" in inner:
        inner.pop("formula" if last == "product" else "product")
        if last == "formula":
            del inner["units"]
            inner["batch"] = "1 kg"
    if last == "material" and "line" in inner and "quantity" in inner:
        del inner["line"]
    return changed


def body_of(operation: dict[str, Any], own: dict[str, list[str]]) -> Any:
    """A body for an operation with these ids, or None where none is sent."""
    content = operation.get("requestBody", {}).get("content", {})
    described = next((one["schema"] for one in content.values()), None)
    return Body(own).of(described) if described else None


def send(client: Client, method: str, path: str, body: Any, **headers: str) -> Answer:
    """One request with a key of its own: as a form where a file goes with it, otherwise as JSON."""
    key = str(uuid.uuid4())
    if isinstance(body, dict) and body.get("file") == UPLOADED:
        texts = {name: value for name, value in body.items() if name != "file"}
        return client.upload(path, pdf(key), key, **texts)
    sent = None if body is None else json.dumps(body).encode()
    named = {"Idempotency-Key": key} | {n.replace("_", "-"): v for n, v in headers.items()}
    return client.raw(method, path, sent, named)
