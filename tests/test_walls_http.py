"""The walls, tried from outside and from inside.

Two co-ops of two makers each, with one of everything. Every operation of the OpenAPI document is
tried with every id that is another's, in its path, its query and its body: what is not yours looks
as if it were not there, and no answer holds a name or an id of it. Then the same rows are asked
for without any filter, inside the walls that PostgreSQL keeps.
"""

import copy
import json
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models

from api import schema
from ledger.access import acting_as
from ledger.models import Coop as CoopRow
from tests.api.client import Answer, Client, Coop, open_coop
from tests.api.people import maker_id
from tests.api.population import Populated, populate
from tests.factories import Workshop, open_workshop
from tests.running import Running

DOCUMENT: dict[str, Any] = json.loads(schema.document())
SECRETS = ("Wren", "Finch", "Siskin", "Dunnock")
NOWHERE = "0198a7b0-0000-7000-8000-00000000ffff"
# What an id in a path is of, by the first word of the path.
OF_PATH = {
    "batches": "batch",
    "entries": "entry",
    "formulas": "formula",
    "lots": "lot",
    "materials": "material",
    "products": "product",
    "receipts": "receipt",
    "suppliers": "supplier",
    "watches": "material",
}
# What an id in a body or a query is of, by its name.
OF_FIELD = {
    "material": "material",
    "supplier": "supplier",
    "lot": "lot",
    "formula": "formula",
    "product": "product",
    "line": "line",
    "sale": "sale",
}


@dataclass(frozen=True)
class Maker:
    """A maker signed in, what it has, and its name that nobody else may hear."""

    client: Client
    has: Populated
    secret: str
    coop: Coop
    id: str


@pytest.fixture(scope="module")
def makers(server: Running) -> list[Maker]:
    """Two co-ops of two makers each; the first maker is the one who looks."""
    found = []
    for pair in (SECRETS[:2], SECRETS[2:]):
        coop = open_coop(server, *(f"{secret} Bench" for secret in pair))
        for secret in pair:
            name = f"{secret} Bench"
            client = coop[name]
            found.append(
                Maker(client, populate(client, secret), secret, coop, str(maker_id(coop, name)))
            )
    return found


def foreign_to(one: Maker, makers: list[Maker], kind: str) -> list[str]:
    """Ids of a kind that are not the maker's: shared ones of another co-op, all private ones."""
    found: list[str] = []
    for other in makers:
        if other is one or (kind in Populated.shared and other.coop is one.coop):
            continue
        found += other.has.ids[kind]
    if kind == "material":
        found += [
            id for other in makers if other is not one for id in other.has.ids["own_material"]
        ]
    return found


def operations() -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, methods in DOCUMENT["paths"].items():
        for method, operation in methods.items():
            yield path, method.upper(), operation


def kind_of(path: str) -> str:
    return OF_PATH[path.removeprefix("/api/v1/").split("/")[0]]


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
        if described.get("type") == "object" or "properties" in described:
            return self._object(described)
        if described.get("type") == "array":
            return [self.of(described["items"], name)]
        return self._plain(described, name)

    def _object(self, described: dict[str, Any]) -> dict[str, Any]:
        wanted = set(described.get("required", []))
        inner: dict[str, Any] = described["properties"]
        made = {}
        for name, one in inner.items():
            if name in OF_FIELD or name in wanted or self._holds_ids(one):
                made[name] = self.of(one, name)
        # A line is a percent, the balance or to effect; a batch is of units or of grams.
        if "percent" in inner and "balance" in inner:
            made["percent"] = "100"
        if "units" in inner and "planned_for" in inner:
            made["units"] = 1
        if "batch" in inner and "planned_for" not in inner:
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
        if name in OF_FIELD:
            return self.own[OF_FIELD[name]][0]
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
            if name in OF_FIELD and is_id(inner):
                yield f"{pointer}/{name}", OF_FIELD[name]
            else:
                yield from places(inner, f"{pointer}/{name}")


def put(body: Any, pointer: str, value: str) -> Any:
    """The body with another value at a pointer, and nothing that excludes it beside it."""
    changed = copy.deepcopy(body)
    *way, last = pointer.strip("/").split("/")
    inner = changed
    for step in way:
        inner = inner[int(step)] if isinstance(inner, list) else inner[step]
    inner[last] = value
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
    content = operation.get("requestBody", {}).get("content", {})
    described = content.get("application/json", {}).get("schema")
    return Body(own).of(described) if described else None


def ask(client: Client, method: str, path: str, body: Any, query: str = "") -> Answer:
    sent = None if body is None else json.dumps(body).encode()
    headers = {"Idempotency-Key": str(uuid.uuid4()), "If-Match": "*"}
    return client.raw(method, f"{path}{query}", sent, headers)


def assert_says_nothing(answer: Answer, one: Maker, makers: list[Maker]) -> None:
    """No name and no id of another maker stands in the answer, but what was sent."""
    said = answer.raw.decode()
    for other in makers:
        if other is not one:
            assert other.secret not in said, answer.raw
            assert not [id for id in other.has.private() if id in said], answer.raw


def query_of(operation: dict[str, Any]) -> str:
    needed = [
        one for one in operation["parameters"] if one["in"] == "query" and one.get("required")
    ]
    return "".join(f"?{one['name']}={one['schema']['enum'][0]}" for one in needed)


def with_ids_in_path() -> list[Any]:
    return [
        pytest.param(path, method, operation, id=f"{method} {path}")
        for path, method, operation in operations()
        if "{" in path
    ]


@pytest.mark.parametrize(("path", "method", "operation"), with_ids_in_path())
def test_anothers_id_in_a_path_is_not_there(
    makers: list[Maker], path: str, method: str, operation: dict[str, Any]
) -> None:
    one = makers[0]
    (named,) = [p["name"] for p in operation["parameters"] if p["in"] == "path"]
    body, query = settled(body_of(operation, one.has.ids)), query_of(operation)
    nowhere = ask(one.client, method, path.replace(f"{{{named}}}", str(uuid.uuid4())), body, query)
    assert nowhere.status == 404, nowhere.raw
    tried = 0
    for id in foreign_to(one, makers, kind_of(path)):
        answer = ask(one.client, method, path.replace(f"{{{named}}}", id), body, query)
        answer.refused(404, "not_found")
        assert answer.raw == nowhere.raw, "not yours and not there look the same"
        tried += 1
    assert tried >= 2
    # The same request about the maker's own is another story, or this would prove nothing.
    own = one.has.ids[kind_of(path)][0]
    if method == "GET":
        assert ask(one.client, method, path.replace(f"{{{named}}}", own), body, query).status == 200


def with_ids_in_body() -> list[Any]:
    nowhere = {kind: [str(uuid.uuid4())] for kind in (*OF_FIELD.values(), *OF_PATH.values())}
    found = []
    for path, method, operation in operations():
        body = body_of(operation, nowhere)
        found += [
            pytest.param(path, method, operation, pointer, kind, id=f"{method} {path} {pointer}")
            for pointer, kind in places(body)
        ]
    return found


@pytest.mark.parametrize(("path", "method", "operation", "pointer", "kind"), with_ids_in_body())
def test_anothers_id_in_a_body_is_not_there(
    makers: list[Maker],
    path: str,
    method: str,
    operation: dict[str, Any],
    pointer: str,
    kind: str,
) -> None:
    one = makers[0]
    own = dict(one.has.ids)
    at = path.replace("{id}", own[kind_of(path)][0]) if "{" in path else path
    body = body_of(operation, own)
    nowhere = ask(one.client, method, at, put(body, pointer, str(uuid.uuid4())))
    # A product keeps its formula: any other is refused unseen.
    code = "invalid" if method == "PUT" and pointer == "/formula" else "not_found"
    nowhere.refused(422, code, pointer)
    tried = 0
    for id in foreign_to(one, makers, kind):
        answer = ask(one.client, method, at, put(body, pointer, id))
        assert answer.raw == nowhere.raw, "the same words either way"
        tried += 1
    assert tried >= 2


def with_ids_in_query() -> list[Any]:
    return [
        pytest.param(path, one["name"], id=f"{path}?{one['name']}")
        for path, method, operation in operations()
        for one in operation["parameters"]
        if one["in"] == "query" and one["name"] in OF_FIELD
    ]


@pytest.mark.parametrize(("path", "name"), with_ids_in_query())
def test_anothers_id_in_a_query_finds_nothing(makers: list[Maker], path: str, name: str) -> None:
    one = makers[0]
    for id in foreign_to(one, makers, OF_FIELD[name]):
        answer = one.client.get(path, **{name: id})
        assert (answer.status, answer.json["results"]) == (200, [])
    own = one.has.ids[OF_FIELD[name]][0]
    assert one.client.get(path, **{name: own}).made()["results"], "one's own is found"


def test_lists_show_nothing_of_others(makers: list[Maker]) -> None:
    lists = [path for path, method, _ in operations() if method == "GET" and "{" not in path]
    assert len(lists) > 10
    for one in makers:
        others = [other for other in makers if other.coop is not one.coop]
        for path in lists:
            answer = one.client.get(path, **({} if "cost" in path else {"limit": 200}))
            assert answer.status == 200
            said = answer.raw.decode()
            if path.endswith(("/materials", "/suppliers")):
                # Shared in the co-op; a maker's own material, and the other co-op's, are not.
                assert not [other for other in others if other.secret in said]
                own = [o.has.ids["own_material"] for o in makers if o is not one]
                assert not [id for ids in own for id in ids if id in said]
            else:
                assert one.secret in said or path.endswith("/alerts") or "Bench" not in said
                assert_says_nothing(answer, one, makers)


def test_anothers_maker_is_not_acted_for(makers: list[Maker]) -> None:
    one, *others = makers
    nowhere = one.client.another(maker=str(uuid.uuid4())).get("lots")
    for other in others:
        answer = one.client.another(maker=other.id).get("lots")
        answer.refused(403, "forbidden")
        assert answer.raw == nowhere.raw
    assert one.client.another(maker=one.id).get("lots").status == 200


def test_the_same_key_of_another_replays_nothing_of_theirs(makers: list[Maker]) -> None:
    key, body = str(uuid.uuid4()), {"name": "Bulk oils"}
    answers = [maker.client.post("suppliers", body, key) for maker in makers]
    assert [answer.status for answer in answers] == [201] * 4
    assert len({answer.json["id"] for answer in answers}) == 4


# From inside: the application's own role asks for all rows, without any filter.


@pytest.fixture(scope="module")
def workshops(database: Any) -> list[Workshop]:
    """Two co-ops of two makers each, populated by the verbs."""
    found = []
    for _ in range(2):
        first = open_workshop("North Bench")
        found += [first, open_workshop("Mill Bench", coop=first.coop)]
    for shop in found:
        _fill(shop)
    return found


def _fill(shop: Workshop) -> None:
    oil, jar = shop.material("Oil", density="0.91 g/mL"), shop.material("Jar", measured_by="count")
    lot = shop.receive(oil, "10 kg", "77.70", freight="3.00")
    shop.receive(jar, "100 each", "33.30")
    version = shop.formula("Balm", [(oil, "100")])
    product = shop.product(version, "50 g", [(jar, "1 each")])
    planned = shop.plan(product, 3)
    shop.weigh_all(planned)
    shop.finish(planned, "150 g", units=3, samples=["1 each"])
    shop.plan(product, 500)
    shop.decide(lot, "hold")


def walled() -> list[type[models.Model]]:
    """Every model of a co-op or of a maker."""
    ours = [
        model
        for app in ("ledger", "formulas", "api")
        for model in apps.get_app_config(app).get_models()
    ]
    return [model for model in ours if "coop" in {field.name for field in model._meta.fields}]


def test_every_table_is_behind_a_wall(workshops: list[Workshop]) -> None:
    """Whatever has a co-op is asked for below; whatever has none is known by name."""
    named = {model.__name__ for model in walled()}
    assert {"Lot", "Entry", "Posting", "Holding", "Formula", "Batch", "Token", "Answer"} <= named
    open_to_all = {
        model.__name__
        for app in ("ledger", "formulas", "api")
        for model in apps.get_app_config(app).get_models()
    } - named
    assert open_to_all <= {"Coop", "WorkerLife"}, open_to_all


@pytest.mark.parametrize("model", walled(), ids=lambda model: str(model.__name__))
def test_without_any_filter_only_ones_own_is_there(
    workshops: list[Workshop], model: type[models.Model]
) -> None:
    private = "maker" in {field.name for field in model._meta.fields}
    rows: Any = model._default_manager
    for shop in workshops:
        with acting_as(shop.actor):
            coops = set(rows.values_list("coop_id", flat=True))
            makers = set(rows.values_list("maker_id", flat=True)) if private else set()
            counted = rows.count()
            with connection.cursor() as cursor:
                cursor.execute(f"select count(*) from {model._meta.db_table}")
                (by_hand,) = cursor.fetchone()
        assert coops <= {shop.actor.coop_id}
        assert makers <= {shop.actor.maker_id, None}
        assert counted == by_hand


def test_the_tables_are_not_empty(workshops: list[Workshop]) -> None:
    """Or the test above would prove nothing."""
    shop = workshops[0]
    with acting_as(shop.actor):
        empty = {m.__name__ for m in walled() if not m._default_manager.exists()}
    may_be = {"Token", "Answer", "Alert", "Watch", "CostPolicy", "Outbox", "Filling", "Sweep"}
    assert empty <= may_be, empty


def test_outside_the_walls_there_is_nothing(workshops: list[Workshop]) -> None:
    everything: list[Any] = [*walled(), CoopRow]
    for model in everything:
        assert not model._default_manager.exists(), model
