"""The walls, tried from outside.

Two co-ops of two makers each, with one of everything. Every operation of the OpenAPI document is
tried with every id that is another's, in its path, its query and its body: what is not yours looks
as if it were not there, and no answer holds a name or an id of it.
"""

import io
import json
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from zipfile import ZipFile

import pytest

from tests.api.bodies import DOCUMENT, OF_FIELD, body_of, places, put, send, settled
from tests.api.client import Answer, Client, Coop, open_coop
from tests.api.people import maker_id
from tests.api.population import ALLY, Populated, populate
from tests.running import Running

# In one process, which populates the makers once.
# The first has markup in it, which every page must show as text.
SECRETS = ("<i>Wren</i>", "Finch", "Siskin", "Dunnock")
# What the others of a co-op may read of each: its name, and those of materials.
KNOWN = ("North", "Mill", "Quay", "Pond")
# What an id in a path is of, by the first word of the path.
OF_PATH = {
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
    "formulas": "formula",
    "lots": "lot",
    "materials": "material",
    "offers": "offer",
    "orders": "order",
    "order-rounds": "round",
    "places": "place",
    "products": "product",
    "complaints": "complaint",
    "recall-notices": "notice",
    "recalls": "recall",
    "receipts": "receipt",
    "sent-lists": "list",
    "shares": "share",
    "suppliers": "supplier",
    "tokens": "token",
    "transfers": "transfer",
    "watches": "material",
}


@dataclass(frozen=True)
class Maker:
    """A maker signed in, what it has, and the word that nobody else may hear."""

    client: Client
    has: Populated
    secret: str
    coop: Coop
    id: str


@pytest.fixture(scope="module")
def makers(server: Running) -> list[Maker]:
    """Two co-ops of two makers each; the first maker is the one who looks."""
    found = []
    for at in (0, 2):
        pair = list(zip(SECRETS, KNOWN, strict=True))[at : at + 2]
        coop = open_coop(server, *(f"{known} Bench" for _, known in pair), ALLY)
        for secret, known in pair:
            name = f"{known} Bench"
            client = coop[name]
            has = populate(client, secret, coop[ALLY], known=known)
            found.append(Maker(client, has, secret, coop, str(maker_id(coop, name))))
    return found


def test_a_copy_of_everything_has_no_word_of_another(makers: list[Maker]) -> None:
    """It is packed, so that the other tests would find nothing in it whatever it held."""
    for one in makers:
        text = unpacked(one.client.get("export"))
        assert one.secret in text
        assert not [other.secret for other in makers if other is not one and other.secret in text]


def unpacked(copy: Answer) -> str:
    """All texts of a copy, one after the other."""
    with ZipFile(io.BytesIO(copy.raw)) as together:
        return "".join(together.read(name).decode() for name in together.namelist())


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


def lists(operation: dict[str, Any]) -> bool:
    """Whether it answers rows; what it prints instead is tried with the sheets."""
    return "application/json" in operation["responses"]["200"].get("content", {})


def kind_of(path: str) -> str:
    return OF_PATH[path.removeprefix("/api/v1/").split("/")[0]]


def ask(client: Client, method: str, path: str, body: Any, query: str = "") -> Answer:
    return send(client, method, f"{path}{query}", body, If_Match="*")


def query_of(operation: dict[str, Any]) -> str:
    needed = [
        one for one in operation["parameters"] if one["in"] == "query" and one.get("required")
    ]
    return "".join(f"?{one['name']}={one['schema']['enum'][0]}" for one in needed)


def days_of(operation: dict[str, Any]) -> dict[str, str]:
    """The days that a query must name: all of the year that things happened in."""
    needed = [one["name"] for one in operation["parameters"] if one.get("required")]
    year = {"from": "2025-01-01", "to": "2025-12-31"}
    named = {name: day for name, day in year.items() if name in needed}
    # Otherwise a statement is of this month, in which nothing happened.
    return named | ({"month": "2025-05"} if "month" in asked_by(operation) else {})


def asked_by(operation: dict[str, Any]) -> set[str]:
    return {one["name"] for one in operation["parameters"]}


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
    if method == "GET":
        # Variances are of what is finished: the last batch, and not the first, which is planned.
        own = one.has.ids[kind_of(path)][-1 if path.endswith("/variances") else 0]
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
        pytest.param(path, one["name"], days_of(operation), id=f"{path}?{one['name']}")
        for path, method, operation in operations()
        for one in operation["parameters"]
        if one["in"] == "query" and one["name"] in OF_FIELD and lists(operation)
    ]


@pytest.mark.parametrize(("path", "name", "days"), with_ids_in_query())
def test_anothers_id_in_a_query_finds_nothing(
    makers: list[Maker], path: str, name: str, days: dict[str, str]
) -> None:
    one = makers[0]
    for id in foreign_to(one, makers, OF_FIELD[name]):
        answer = one.client.get(path, **{name: id}, **days)
        assert (answer.status, answer.json["results"]) == (200, [])
    owned = one.has.ids[OF_FIELD[name]]
    found = [one.client.get(path, **{name: own}, **days).made() for own in owned]
    assert any(answer["results"] for answer in found), "one's own is found"


def test_lists_show_nothing_of_others(makers: list[Maker]) -> None:
    asked = {
        path: whole(path, operation) | days_of(operation)
        for path, method, operation in operations()
        if method == "GET" and "{" not in path and lists(operation)
    }
    assert len(asked) > 10
    for one in makers:
        said = {path: one.client.get(path, **query).made() for path, query in asked.items()}
        of_its_own = [path for path, answer in said.items() if one.secret in json.dumps(answer)]
        assert len(of_its_own) >= 6, "one's own is shown"
        for answer in said.values():
            assert_shows_only(json.dumps(answer), one, makers)


def whole(path: str, operation: dict[str, Any]) -> dict[str, Any]:
    """The query for as much of a list as there is."""
    # What all may see is shown with lots that are somebody's.
    own = {"of": "own"} if path.endswith("/shares") else {}
    return own | ({"limit": 200} if "limit" in asked_by(operation) else {})


def assert_shows_only(said: str, one: Maker, makers: list[Maker]) -> None:
    """Nothing of other makers: no private text, and no id of what is private."""
    for other in makers:
        if other is one:
            continue
        assert other.secret not in said
        assert not [id for id in other.has.private() if id in said]


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
