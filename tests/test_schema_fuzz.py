"""The OpenAPI document is true: a client that knows nothing else finds no answer it does not tell.

Requests are made from the document alone, those it allows and those it forbids, and sent to the
running server. Ids and quantities are often replaced by real ones, or else nothing would be found
behind the first refusal.
"""

import copy
import json
import os
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import jsonschema_rs
import pytest
import schemathesis
from drf_spectacular.validation import validate_schema
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from rest_framework.serializers import BaseSerializer
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.config import SchemathesisConfig
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api import schema
from api.rest.fields import Body
from tests.api.client import Client, open_coop, sign_in
from tests.api.files import pdf
from tests.api.population import ALLY, Populated, populate
from tests.running import Running

DOCUMENT: dict[str, Any] = json.loads(schema.document())
OPERATIONS = sorted(
    (path, method.upper()) for path, methods in DOCUMENT["paths"].items() for method in methods
)
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
# What is read takes an id and a filter or two; what is written has a body to get wrong. The same
# few each time; FUZZ=20 makes twenty times as many, and others.
MORE = int(os.environ.get("FUZZ", "1"))
SEED = 20250506 + MORE
TRIES_TO_READ, TRIES_TO_WRITE = 3 * MORE, 6 * MORE
QUANTITIES = ["1 g", "2.5 kg", "4 gal", "16 fl oz", "3 each", "0.5 lb", "½ cup", "1e5 g", "16 oz"]
# What a word of a request may name; the fields that hold a quantity; and moments that are past.
KINDS = {"lot", "material", "supplier", "formula", "product", "line", "sale"}
MEASURED = {"quantity", "output", "batch", "used", "reorder_point", "nominal", "mass_each"}
MEASURED |= {"gross", "tare", "booked", "really", "pack", "at_least"}
MOMENTS = ["2025-05-07T12:00:00Z", "2025-06-01T23:30:00-05:00", "2031-01-01T00:00:00Z"]
NAMED_BY_PATH = {
    "alerts": "alert",
    "alert-receivers": "receiver",
    "batches": "batch",
    "claims": "claim",
    "decantings": "decanting",
    "deposits": "deposit",
    "movements": "movement",
    "counts": "count",
    "documents": "document",
    "containers": "container",
    "entries": "entry",
    "fills": "fill",
    "complaints": "complaint",
    "offers": "offer",
    "order-rounds": "round",
    "recall-notices": "notice",
    "recalls": "recall",
    "watches": "material",
    **{f"{kind}s": kind for kind in ("receipt", "lot", "material", "supplier", "formula")},
    "products": "product",
    "shares": "share",
    "transfers": "transfer",
}


@dataclass(frozen=True)
class Ground:
    """Where the requests go, as whom, and what is there."""

    port: int
    token: str
    there: Populated


@pytest.fixture(scope="module")
def ground(server: Running) -> Ground:
    coop = open_coop(server, "North Bench", ALLY)
    token = sign_in(server, coop.owners["North Bench"]).made()["token"]
    return Ground(server.port, token, populate(coop["North Bench"], "Wren", coop[ALLY]))


@pytest.fixture(scope="module")
def operations(server: Running) -> dict[tuple[str, str], Any]:
    """Every operation of the document, by path and method."""
    told = copy.deepcopy(DOCUMENT)
    # Who may is tried elsewhere; here it would use up most of what is forbidden.
    for methods in told["paths"].values():
        for operation in methods.values():
            operation.pop("security", None)
            named = operation.get("parameters", [])
            operation["parameters"] = [one for one in named if one["name"] != "Maker"]
    refused = {"negative_data_rejection": {"expected-statuses": ["4XX"]}}
    config = SchemathesisConfig.from_dict({"checks": refused})
    loaded = schemathesis.openapi.from_dict(told, config=config)
    loaded.config.update(base_url=server.url)
    read: list[Any] = list(loaded.get_all_operations())
    found = [result.ok() for result in read]
    return {(operation.path, operation.method.upper()): operation for operation in found}


def test_the_document_is_openapi(server: Running) -> None:
    answer = Client(server.port).get("schema")
    assert (answer.status, answer.kind) == (200, "application/vnd.oai.openapi+json")
    assert answer.json == DOCUMENT
    assert DOCUMENT["openapi"].startswith("3.1")
    validate_schema(DOCUMENT)  # type: ignore[no-untyped-call]
    ids = [op["operationId"] for methods in DOCUMENT["paths"].values() for op in methods.values()]
    assert len(ids) == len(set(ids)) == len(OPERATIONS) > 50


def test_every_operation_says_what_it_does() -> None:
    for path, methods in DOCUMENT["paths"].items():
        for method, operation in methods.items():
            assert operation.get("summary"), (method, path)
            assert any(status.startswith("2") for status in operation["responses"])
            named = {one["name"] for one in operation["parameters"]}
            keeps = method == "post" and "201" in operation["responses"]
            keyed = keeps and not path.endswith("/tokens")
            assert ("Idempotency-Key" in named) == keyed, (method, path)


def described(body: Any) -> Iterator[Any]:
    """The examples of a request body."""
    for content in body["content"].values():
        yield from (example["value"] for example in content.get("examples", {}).values())


def with_examples() -> list[tuple[str, Any]]:
    """Each example of the document with the name of the schema that it is of."""
    found = []
    for methods in DOCUMENT["paths"].values():
        for operation in methods.values():
            body = operation.get("requestBody")
            if body is not None:
                (content, *_) = body["content"].values()
                name = content["schema"]["$ref"].rpartition("/")[2]
                found += [(name, example) for example in described(body)]
    return found


def bodies(of: type[Body] = Body) -> Iterator[type[Body]]:
    for kind in of.__subclasses__():
        yield kind
        yield from bodies(kind)


def test_every_example_is_what_would_be_accepted() -> None:
    examples = with_examples()
    told = {name for name, _ in examples}
    main = {"TokenIn", "MaterialIn", "ReceiptIn", "FormulaIn", "ProductIn", "BatchIn"}
    assert main | {"WeighingIn", "FinishIn"} <= told
    serializers: dict[str, type[BaseSerializer[Any]]] = {kind.__name__: kind for kind in bodies()}
    for name, example in examples:
        whole = {**DOCUMENT, "$ref": f"#/components/schemas/{name}"}
        jsonschema_rs.Draft202012Validator(whole).validate(example)
        serializers[name](data=example).is_valid(raise_exception=True)


def likely(value: Any, draw: Any, ids: dict[str, list[str]]) -> Any:
    """The same request with ids that are there and quantities that can be read, mostly."""
    if isinstance(value, list):
        return [likely(one, draw, ids) for one in value]
    if not isinstance(value, dict):
        return value
    return {name: likely_as(name, inner, draw, ids) for name, inner in value.items()}


def likely_as(name: str, value: Any, draw: Any, ids: dict[str, list[str]]) -> Any:
    if name == "file":
        return draw(st.sampled_from([value, pdf(draw(st.uuids()).hex)]))
    if name == "documents" and value:
        return [draw(st.sampled_from(ids["document"]))]
    if not isinstance(value, str):
        return likely(value, draw, ids)
    if name in KINDS:
        return draw(st.sampled_from(ids[name] + ids.get("own_" + name, [])))
    if name in MEASURED:
        return draw(st.sampled_from(QUANTITIES))
    return draw(st.sampled_from(MOMENTS)) if name == "happened_at" else value


def aim(case: Any, draw: Any, ids: dict[str, list[str]]) -> None:
    """Let a request that the document allows reach further than the first refusal."""
    case.body = likely(case.body, draw, ids)
    named = NAMED_BY_PATH.get(case.operation.path.split("/")[3])
    for name in case.path_parameters or {}:
        if named and draw(st.integers(0, 9)):
            case.path_parameters[name] = draw(st.sampled_from(ids[named]))
    if "Idempotency-Key" in case.headers:
        case.headers["Idempotency-Key"] = str(uuid.uuid4())
    if "If-Match" in case.headers:
        case.headers["If-Match"] = "*"


def tries() -> Iterator[tuple[str, str, GenerationMode]]:
    """What the document allows of each operation, and what it forbids, where it forbids any."""
    for path, method in OPERATIONS:
        yield path, method, GenerationMode.POSITIVE
        operation = DOCUMENT["paths"][path][method.lower()]
        bounded = [one for one in operation["parameters"] if one["in"] != "path"]
        if "requestBody" in operation or any(one["name"] != "Maker" for one in bounded):
            yield path, method, GenerationMode.NEGATIVE


@pytest.mark.parametrize(
    ("path", "method", "mode"),
    [pytest.param(*one, id=f"{one[1]} {one[0]} {one[2].value}") for one in tries()],
)
def test_no_answer_is_undescribed(
    ground: Ground,
    operations: dict[tuple[str, str], Any],
    path: str,
    method: str,
    mode: GenerationMode,
) -> None:
    operation = operations[path, method]
    # Signing out is tried without a token, or all that follows would be tried without one.
    apart = path.endswith(("/tokens", "/tokens/current")) and method != "GET"
    headers = {} if apart else {"Authorization": f"Bearer {ground.token}"}

    @seed(SEED)
    @settings(
        max_examples=TRIES_TO_READ if method == "GET" else TRIES_TO_WRITE,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(data=st.data())
    def tried(data: Any) -> None:
        case = data.draw(operation.as_strategy(generation_mode=mode))
        if mode is GenerationMode.POSITIVE:
            aim(case, data.draw, ground.there.ids)
        response = case.call(headers=headers)
        refused = [negative_data_rejection] if mode is GenerationMode.NEGATIVE else []
        case.validate_response(response, checks=CHECKS + refused)

    tried()
