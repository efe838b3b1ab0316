"""A retry is safe: the same key with the same request happens once, and is answered alike."""

import json
import uuid
from typing import Any

import psycopg
import pytest

from deploy import embedded
from tests.api.client import Answer, Client, Coop
from tests.api.people import add_person, coop_id, join, maker_id, sql, token_of
from tests.running import Running

BODY = {"name": "Bulk oils"}


def key() -> str:
    return f"key-{uuid.uuid4()}"


def same(one: Answer, two: Answer) -> bool:
    return (one.status, one.raw, one.kind) == (two.status, two.raw, two.kind)


def count(server: Running, name: str) -> int:
    ((found,),) = sql(server, "select count(*) from ledger_supplier where name = %s", name)
    return int(found)


def test_without_a_key_nothing_is_done(server: Running, north: Client) -> None:
    body = {"name": f"Supplier {uuid.uuid4()}"}
    for header in ({}, {"Idempotency-Key": " "}, {"Idempotency-Key": '""'}):
        answer = north.raw("POST", "suppliers", json.dumps(body).encode(), header)
        answer.refused(400, "key_missing")
    assert count(server, body["name"]) == 0


@pytest.mark.parametrize("bad", ["k" * 256, '"' + "k" * 256 + '"'])
def test_a_key_that_cannot_be_kept_is_refused(north: Client, bad: str) -> None:
    north.post("suppliers", BODY, bad).refused(400, "malformed")


def test_what_needs_no_key_asks_for_none(north: Client) -> None:
    material = north.material("Squalane")
    assert north.change("PUT", f"watches/{material}", {"reorder_point": "1 kg"}).status == 200


def test_a_success_is_replayed(server: Running, north: Client) -> None:
    body = {"name": f"Supplier {uuid.uuid4()}"}
    name = key()
    first = north.post("suppliers", body, name)
    again = north.post("suppliers", body, name)
    assert first.status == 201
    assert "Replayed" not in first.headers
    assert again.headers["Replayed"] == "true"
    assert same(first, again)
    assert again.headers["ETag"] == first.headers["ETag"]
    assert count(server, body["name"]) == 1


def test_a_refusal_is_replayed(north: Client) -> None:
    material = north.material("Glycerin")
    lot = north.receive(material, "10 g", "1.00")
    taken = {"lines": [{"lot": lot, "quantity": "1 kg"}], "purpose": "gift", "reason": "open day"}
    for path, body, status in (
        ("issues", taken, 409),
        ("suppliers", {"name": ""}, 422),
        (f"lots/{uuid.uuid4()}/decisions", {"decision": "hold", "basis": "x"}, 404),
    ):
        name = key()
        first, again = (north.post(path, body, name) for _ in range(2))
        assert first.status == status
        assert again.headers["Replayed"] == "true"
        assert same(first, again)
    # It stays refused though there is enough by now; a new key asks anew.
    name = key()
    first = north.post("issues", taken, name)
    north.receive(material, "5 kg", "50.00")
    again = north.post("issues", taken, name)
    assert same(first, again)


def test_what_cannot_be_read_is_answered_alike(north: Client) -> None:
    name = key()
    first, again = (
        north.raw("POST", "suppliers", b'{"name": ', {"Idempotency-Key": name}) for _ in range(2)
    )
    first.refused(400, "malformed")
    assert same(first, again)


def test_a_bare_key_and_a_quoted_one_are_the_same(north: Client) -> None:
    name = key()
    first = north.post("suppliers", BODY, name)
    again = north.post("suppliers", BODY, f'"{name}"')
    assert (again.raw, again.headers["Replayed"]) == (first.raw, "true")


def test_the_same_value_however_written_is_the_same_request(north: Client) -> None:
    material = north.material("Lanolin")
    lot = north.receive(material, "1 kg", "9.00")
    name = key()
    line = f'{{"lot": "{lot}", "quantity": "1 g"}}'
    written = [
        f'{{"lines": [{line}], "purpose": "gift", "reason": "caf\u00e9"}}'.encode(),
        f'{{ "reason":"caf\\u00e9",\n"purpose":"gift","lines":[{line}] }}'.encode(),
    ]
    first, again = (
        north.raw("POST", "issues", body, {"Idempotency-Key": name}) for body in written
    )
    assert first.status == 201
    assert (again.raw, again.headers["Replayed"]) == (first.raw, "true")


def test_another_request_with_the_key_is_refused(north: Client) -> None:
    name = key()
    assert north.post("suppliers", BODY, name).status == 201
    north.post("suppliers", {"name": "Other oils"}, name).refused(422, "key_reused")
    north.post("materials", {**BODY, "measured_by": "mass"}, name).refused(422, "key_reused")
    north.post("suppliers?x=1", BODY, name).refused(422, "key_reused")
    assert north.post("suppliers", BODY, name).headers["Replayed"] == "true"


def test_a_key_is_its_persons_own(coop: Coop, north: Client, mill: Client) -> None:
    name = key()
    first, other = north.post("suppliers", BODY, name), mill.post("suppliers", BODY, name)
    assert (first.status, other.status) == (201, 201)
    assert "Replayed" not in other.headers
    assert first.json["id"] != other.json["id"]
    # A new token of the same person is the same person.
    fresh = Client(coop.server.port, token_of(coop, coop.owners["North Bench"]))
    assert fresh.post("suppliers", BODY, name).raw == first.raw


def test_a_key_is_of_the_maker_that_it_was_used_for(coop: Coop) -> None:
    person = add_person(coop)
    join(coop, person, "North Bench", "owner")
    join(coop, person, "Mill Bench", "owner")
    client = Client(coop.server.port, token_of(coop, person))
    one, two = (
        client.another(maker=str(maker_id(coop, name))) for name in ("North Bench", "Mill Bench")
    )
    name = key()
    assert one.post("suppliers", BODY, name).status == 201
    two.post("suppliers", BODY, name).refused(422, "key_reused")


def test_while_the_first_is_being_answered_the_second_waits(
    coop: Coop, server: Running, north: Client
) -> None:
    """The lock that the first request holds is taken here by hand, and given back."""
    name = key()
    owner = coop.owners["North Bench"]
    ((person,),) = sql(server, "select id from auth_user where username = %s", owner)
    with psycopg.connect(embedded.postgres_url(server.data, "postgres")) as holder:
        holder.execute(
            "select pg_advisory_xact_lock(hashtextextended(%s, 0))",
            [f"{coop_id(coop)} {person} {name}"],
        )
        answer = north.post("suppliers", BODY, name)
        answer.refused(409, "key_in_flight")
        assert int(answer.headers["Retry-After"]) >= 1
    answer = north.post("suppliers", BODY, name)
    assert answer.status == 201
    assert "Replayed" not in answer.headers, "being in flight is not an answer to keep"


def test_after_seven_days_a_key_is_forgotten(server: Running, north: Client) -> None:
    name = key()
    first = north.post("suppliers", BODY, name).made()

    def age(interval: str) -> None:
        sql(
            server,
            "update api_answer set answered_at = now() - %s::interval where key = %s",
            interval,
            name,
        )

    age("6 days 23 hours")
    assert north.post("suppliers", BODY, name).made() == first
    age("7 days 1 minute")
    again = north.post("suppliers", BODY, name)
    assert "Replayed" not in again.headers
    assert again.made()["id"] != first["id"]


def test_a_key_that_was_forgotten_may_be_another_makers(coop: Coop, server: Running) -> None:
    """The old answer is not seen by the other maker, and must be out of its way all the same."""
    person = add_person(coop)
    join(coop, person, "North Bench", "owner")
    join(coop, person, "Mill Bench", "owner")
    client = Client(coop.server.port, token_of(coop, person))
    one, two = (
        client.another(maker=str(maker_id(coop, name))) for name in ("North Bench", "Mill Bench")
    )
    name = key()
    assert one.post("suppliers", BODY, name).status == 201
    sql(
        server,
        "update api_answer set answered_at = now() - interval '8 days' where key = %s",
        name,
    )
    first = two.post("suppliers", BODY, name)
    assert (first.status, "Replayed" in first.headers) == (201, False)
    assert same(first, two.post("suppliers", BODY, name))
    one.post("suppliers", BODY, name).refused(422, "key_reused")


def test_what_was_not_allowed_can_be_asked_again(coop: Coop, server: Running) -> None:
    """A 401 is no answer to the act, so it is not kept."""
    person = add_person(coop)
    join(coop, person, "North Bench", "owner")
    good = Client(coop.server.port, token_of(coop, person))
    bad = Client(coop.server.port, "no token")
    name = key()
    bad.post("suppliers", BODY, name).refused(401, "not_signed_in")
    answer: Any = good.post("suppliers", BODY, name)
    assert answer.status == 201
    assert "Replayed" not in answer.headers
