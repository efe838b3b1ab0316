"""One's own tokens: seen, ended one by one, all at once, or by whoever runs the server."""

import uuid

from tests.api.client import PASSWORD, Client, Coop, open_coop, sign_in
from tests.api.people import add_person, join, token_of
from tests.running import Running

NEW_PASSWORD = "seven litres of olive oil"


def person_at(coop: Coop) -> tuple[str, Client]:
    """Somebody new at North Bench, signed in."""
    person = add_person(coop)
    join(coop, person, "North Bench", "owner")
    return person, Client(coop.server.port, token_of(coop, person))


def test_one_sees_one_s_own_tokens(coop: Coop, north: Client) -> None:
    person, client = person_at(coop)
    token_of(coop, person, read_only=True)
    token_of(coop, person, lasts="-1 second")
    rows = client.listed("tokens")
    assert sorted((row["scope"], row["current"]) for row in rows) == [
        ("all", True),
        ("read", False),
    ]
    assert all(row["created_at"] < row["expires_at"] for row in rows)
    assert set(rows[0]) == {"id", "created_at", "expires_at", "scope", "note", "current"}
    page = client.get("tokens", limit=1).made()
    assert len(page["results"]) == 1
    assert page["next"]
    # What one is for was said when it was made.
    said = {"username": person, "password": PASSWORD, "note": "The till"}
    Client(coop.server.port).post("tokens", said).made()
    assert [row["note"] for row in client.listed("tokens")].count("The till") == 1
    # Nobody sees another's.
    assert not {row["id"] for row in rows} & {row["id"] for row in north.listed("tokens")}
    Client(coop.server.port).get("tokens").refused(401, "not_signed_in")


def test_one_token_is_ended_and_the_others_go_on(coop: Coop, north: Client) -> None:
    person, client = person_at(coop)
    lost = Client(coop.server.port, token_of(coop, person))
    (id,) = [row["id"] for row in lost.listed("tokens") if row["current"]]
    nowhere = north.raw("DELETE", f"tokens/{uuid.uuid4()}")
    nowhere.refused(404, "not_found")
    anothers = north.raw("DELETE", f"tokens/{id}")
    assert (anothers.status, anothers.raw) == (404, nowhere.raw)
    assert client.raw("DELETE", f"tokens/{id}").status == 204
    lost.get("lots").refused(401, "not_signed_in")
    assert client.get("lots").status == 200
    client.raw("DELETE", f"tokens/{id}").refused(404, "not_found")


def test_one_signs_out_everywhere(server: Running, coop: Coop) -> None:
    """Of this co-op: what one does in another is another matter."""
    person, client = person_at(coop)
    other = Client(coop.server.port, token_of(coop, person))
    hill = open_coop(server, "Hill Bench", name="Hill Makers")
    join(hill, person, "Hill Bench", "owner")
    elsewhere = Client(server.port, token_of(hill, person))
    assert client.raw("DELETE", "tokens").status == 204
    for gone in (client, other):
        gone.get("lots").refused(401, "not_signed_in")
    assert elsewhere.get("lots").status == 200
    assert len(elsewhere.listed("tokens")) == 1
    assert coop["North Bench"].get("lots").status == 200, "a colleague stays signed in"


def test_a_token_to_read_with_ends_itself_alone(coop: Coop) -> None:
    person, client = person_at(coop)
    reader = Client(coop.server.port, token_of(coop, person, read_only=True))
    ids = {row["current"]: row["id"] for row in reader.listed("tokens")}
    reader.raw("DELETE", f"tokens/{ids[False]}").refused(403, "forbidden")
    reader.raw("DELETE", "tokens").refused(403, "forbidden")
    assert client.get("lots").status == 200
    assert reader.raw("DELETE", f"tokens/{ids[True]}").status == 204
    reader.get("lots").refused(401, "not_signed_in")


def test_a_new_password_ends_all_tokens(server: Running, coop: Coop) -> None:
    person, client = person_at(coop)
    hill = open_coop(server, "Hill Bench", name="Hill Makers")
    join(hill, person, "Hill Bench", "owner")
    elsewhere = Client(server.port, token_of(hill, person))
    set_it = ("set_password", person, "--password-env", "NEW_PASSWORD")
    easy = server.command(*set_it, NEW_PASSWORD="password12")
    assert (easy.returncode, "too common" in easy.stderr) == (1, True)
    assert client.get("lots").status == 200, "what is refused changes nothing"
    done = server.command(*set_it, NEW_PASSWORD=NEW_PASSWORD)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"{person}: password set, 2 tokens ended\n"
    for gone in (client, elsewhere):
        gone.get("lots").refused(401, "not_signed_in")
    sign_in(server, person, PASSWORD, coop=coop.slug).refused(401, "credentials_wrong")
    assert sign_in(server, person, NEW_PASSWORD, coop=coop.slug).status == 201


def test_who_is_made_inactive_is_out_and_may_come_back(server: Running, coop: Coop) -> None:
    person, client = person_at(coop)
    done = server.command("set_active", person, "--no")
    assert (done.returncode, done.stdout) == (0, f"{person}: not active, 1 tokens ended\n")
    client.get("lots").refused(401, "not_signed_in")
    sign_in(server, person).refused(401, "credentials_wrong")
    done = server.command("set_active", person, "--yes")
    assert (done.returncode, done.stdout) == (0, f"{person}: active, 0 tokens ended\n")
    client.get("lots").refused(401, "not_signed_in")
    assert sign_in(server, person).status == 201


def test_nobody_by_that_name_is_said(server: Running) -> None:
    nobody = f"nobody-{uuid.uuid4()}"
    for words in (
        ("set_password", nobody, "--password-env", "NEW_PASSWORD"),
        ("set_active", nobody, "--no"),
    ):
        ran = server.command(*words, NEW_PASSWORD=NEW_PASSWORD)
        assert (ran.returncode, ran.stdout) == (1, "")
        assert f"Nobody signs in as '{nobody}'" in ran.stderr
        assert "Traceback" not in ran.stderr
    neither = server.command("set_active", nobody)
    assert (neither.returncode != 0, "--yes" in neither.stderr) == (True, True)
