"""Signing in and out: who gets a token, what it opens, and when it ends."""

import hashlib
import uuid

from api.models import Token
from ledger.ids import new_id
from tests.api.client import PASSWORD, Client, Coop, open_coop, sign_in
from tests.api.people import add_person, coop_id, join, maker_id, member, sql, token_of
from tests.running import Running


def test_a_token_names_the_places_that_it_opens(coop: Coop) -> None:
    answer = sign_in(coop.server, coop.owners["North Bench"])
    assert answer.status == 201
    assert answer.headers["Cache-Control"] == "no-store"
    told = answer.json
    assert set(told) == {"token", "expires_at", "coop", "makers", "roles"}
    assert told["coop"]["id"] == str(coop_id(coop))
    assert told["coop"]["currency"] == "USD"
    north = {"id": str(maker_id(coop, "North Bench")), "name": "North Bench", "role": "owner"}
    assert (told["makers"], told["roles"]) == ([north], [])
    coordinator = sign_in(coop.server, coop.coordinator).made()
    assert (coordinator["makers"], coordinator["roles"]) == ([], ["coordinator"])


def test_who_is_wrong_is_not_told_what_is_wrong(coop: Coop) -> None:
    known = sign_in(coop.server, add_person(coop), "not the password")
    unknown = sign_in(coop.server, f"nobody-{uuid.uuid4()}", "not the password")
    known.refused(401, "credentials_wrong")
    assert (known.status, known.raw) == (unknown.status, unknown.raw)


def test_five_wrong_passwords_lock_the_sixth_out(coop: Coop) -> None:
    person = add_person(coop)
    join(coop, person, "North Bench", "bench")
    answers = [sign_in(coop.server, person, f"guess number {n}") for n in range(6)]
    assert [answer.status for answer in answers[:4]] == [401] * 4
    answers[5].refused(429, "rate_limited")
    assert int(answers[5].headers["Retry-After"]) > 60
    # Nor does the right one help now; and it is the person who is locked out, not the house.
    sign_in(coop.server, person, PASSWORD).refused(429, "rate_limited")
    assert sign_in(coop.server, coop.owners["North Bench"]).status == 201


def test_a_name_that_cannot_be_is_no_fault_of_ours(coop: Coop) -> None:
    for name in ("", " ", "a\u0000b", "x" * 5000, "ünïcode ☃", "'; drop table auth_user; --"):
        answer = sign_in(coop.server, name, "not the password")
        assert 400 <= answer.status < 500, (name, answer.raw)


def test_a_person_of_several_coops_names_one(server: Running, coop: Coop) -> None:
    other = open_coop(server, name="Hill Makers")
    person = add_person(coop)
    join(coop, person, "North Bench", "bench")
    join(other, person, None, "coordinator")
    error = sign_in(server, person).refused(422, "coop_needed", "/coop")
    assert coop.slug in error["detail"]
    assert other.slug in error["detail"]
    assert sign_in(server, person, coop=other.slug).made()["roles"] == ["coordinator"]
    told = sign_in(server, person, coop=coop.slug).made()
    assert [maker["name"] for maker in told["makers"]] == ["North Bench"]
    sign_in(server, person, coop="no-such-coop").refused(401, "credentials_wrong")
    lonely = add_person(coop)
    sign_in(server, lonely).refused(401, "credentials_wrong")


def test_a_token_to_read_with_changes_nothing(coop: Coop) -> None:
    token = sign_in(coop.server, coop.owners["North Bench"], scope="read").made()["token"]
    reader = Client(coop.server.port, token)
    assert reader.get("materials").status == 200
    assert reader.get("stock").status == 200
    before = sql(coop.server, "select count(*) from ledger_supplier")
    reader.post("suppliers", {"name": "Nobody"}).refused(403, "forbidden")
    assert sql(coop.server, "select count(*) from ledger_supplier") == before


def test_a_coordinator_who_reads_changes_nothing(coop: Coop) -> None:
    token = sign_in(coop.server, coop.coordinator, scope="read").made()["token"]
    reader = Client(coop.server.port, token)
    assert reader.get("materials").status == 200
    reader.post("suppliers", {"name": "Nobody"}).refused(403, "forbidden")


def test_a_token_ends(coop: Coop) -> None:
    person = add_person(coop)
    join(coop, person, "North Bench", "owner")
    fresh, expired = (
        Client(coop.server.port, token_of(coop, person, lasts=lasts))
        for lasts in ("1 hour", "-1 second")
    )
    expired.get("lots").refused(401, "not_signed_in")
    assert fresh.get("lots").status == 200
    assert fresh.raw("DELETE", "tokens/current").status == 204
    answer = fresh.get("lots")
    answer.refused(401, "not_signed_in")
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")


def test_a_token_is_worth_nothing_once_its_person_is_not(coop: Coop) -> None:
    person = add_person(coop)
    join(coop, person, "North Bench", "owner")
    client = Client(coop.server.port, token_of(coop, person))
    assert client.get("lots").status == 200
    sql(coop.server, "update auth_user set is_active = false where username = %s", person)
    client.get("lots").refused(401, "not_signed_in")
    sql(coop.server, "update auth_user set is_active = true where username = %s", person)
    assert client.get("lots").status == 200
    sql(
        coop.server,
        "delete from ledger_membership where person_id ="
        " (select id from auth_user where username = %s)",
        person,
    )
    client.get("lots").refused(401, "not_signed_in")


def test_what_is_no_token_opens_nothing(coop: Coop, north: Client) -> None:
    for header in ("", "Bearer", "Bearer ", "Bearer x", f"Basic {north.token}", north.token, "é"):
        nobody = Client(coop.server.port)
        headers = {"Authorization": header.encode().decode("latin-1")} if header else {}
        nobody.raw("GET", "lots", None, headers).refused(401, "not_signed_in")
    other = sign_in(coop.server, coop.owners["North Bench"]).made()["token"]
    assert other != north.token, "each sign-in has a token of its own"


def test_only_a_digest_of_a_token_is_kept(coop: Coop, north: Client) -> None:
    rows = sql(coop.server, "select digest from api_token")
    assert hashlib.sha256(north.token.encode()).digest() in {bytes(row[0]) for row in rows}
    kept = sql(coop.server, "select t::text from api_token t")
    assert not [row for row in kept if north.token in row[0]]
    assert [field.name for field in Token._meta.get_fields() if "token" in field.name] == []
    passwords = sql(coop.server, "select password from auth_user")
    assert all(PASSWORD not in row[0] and row[0].startswith("pbkdf2_") for row in passwords)


def test_whoever_works_in_several_makers_names_one(coop: Coop) -> None:
    person = add_person(coop)
    join(coop, person, "North Bench", "owner")
    join(coop, person, "Mill Bench", "read-only")
    client = Client(coop.server.port, token_of(coop, person))
    client.get("lots").refused(400, "maker_needed")
    ids = {name: str(maker_id(coop, name)) for name in ("North Bench", "Mill Bench")}
    one, two = (client.another(maker=ids[name]) for name in ("North Bench", "Mill Bench"))
    name = {"name": f"Supplier of {person}"}
    assert one.post("suppliers", name).status == 201
    two.post("suppliers", name).refused(403, "forbidden")
    assert one.another(maker=ids["North Bench"].upper()).get("lots").status == 200


def test_anothers_maker_is_closed(coop: Coop, north: Client) -> None:
    mill = str(maker_id(coop, "Mill Bench"))
    there = north.another(maker=mill).get("lots")
    nowhere = north.another(maker=str(new_id())).get("lots")
    there.refused(403, "forbidden")
    assert there.raw == nowhere.raw, "not there and not yours look the same"
    assert north.another(maker="no id at all").get("lots").status == 403
    coordinator = member(coop, None, "coordinator")
    coordinator.another(maker=mill).get("lots").refused(403, "forbidden")
    coordinator.get("lots").refused(403, "forbidden")
