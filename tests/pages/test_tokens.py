"""Where one is signed in: tokens are made for programs, shown once, and ended."""

import re
import uuid
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from api.models import Answer, Token
from api.signing import digest
from ledger.access import acting_as
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in

PASSWORD = "a bench, a kettle, a scale"
SECRET = re.compile(r'class="secret"[^>]*>([^<]+)<')


@pytest.fixture
def shop(database: Any, redis_server: Any) -> Workshop:
    """Whose owner has a password."""
    shop = open_workshop()
    person = get_user_model().objects.get(id=shop.actor.person_id)
    person.set_password(PASSWORD)
    person.save()
    return shop


def made(client: Client, key: str, **typed: str) -> Any:
    fields = {"do": "make", "note": "The till", "scope": "read", "old": PASSWORD, **typed}
    return sent(client, "/tokens", form_key=key, **fields)


def test_a_token_is_made_for_a_program_and_shown_once(shop: Workshop) -> None:
    client, key = signed_in(shop), uuid.uuid4().hex
    assert "Where you are signed in" in shown(client.get("/look"))
    answer = made(client, key)
    assert answer.status_code == 200
    (secret,) = SECRET.findall(answer.content.decode())
    assert "cannot be shown again" in shown(answer)
    assert answer["Cache-Control"] == "no-store"
    assert key not in answer.content.decode(), "the forms beside it are other acts"
    with acting_as(shop.actor):
        kept = Token.objects.get(note="The till")
        answers = [str(list(row)) for row in Answer.objects.values_list()]
    assert bytes(kept.digest) == digest(secret)
    assert answers
    assert not [row for row in answers if secret in row]
    # A second tap of the same form makes none, and says where the first one went.
    again = made(client, key)
    assert again["Location"] == "/tokens?made=before"
    page = client.get("/tokens?made=before")
    assert secret not in page.content.decode()
    assert "shown then" in shown(page)
    with acting_as(shop.actor):
        assert Token.objects.filter(note="The till").count() == 1
    # What was made signs in, and may look alone.
    program = Client(SERVER_NAME="localhost")
    program.cookies["stillroom"] = secret
    assert "reads only" in shown(program.get("/tokens"))
    assert "end itself and no other" in refused(program, "/tokens", do="end_all")


def test_nobody_makes_one_without_the_password(shop: Workshop) -> None:
    client = signed_in(shop)
    fields = {"do": "make", "note": "The till", "scope": "all"}
    assert "not your password" in refused(client, "/tokens", **fields, old="a guess")
    assert "Fill this in" in refused(client, "/tokens", **fields)
    assert sent(client, "/tokens", do="nothing").status_code == 422
    with acting_as(shop.actor):
        assert Token.objects.count() == 1


def test_tokens_are_ended(shop: Workshop) -> None:
    client, lost = signed_in(shop), signed_in(shop)
    other = signed_in(open_workshop("Mill Bench", coop=shop.coop))
    with acting_as(shop.actor):
        ids = {bytes(one.digest): str(one.id) for one in Token.objects.all()}
    id = ids[digest(lost.cookies["stillroom"].value)]
    assert "not yours" in refused(other, "/tokens", do="end", of=id)
    assert refused(client, "/tokens", do="end", of=str(uuid.uuid4()))
    assert refused(client, "/tokens", do="end", of="nothing at all")
    assert "this browser" in done(client, "/tokens", do="end", of=id)
    assert lost.get("/tokens")["Location"].startswith("/sign-in")
    assert sent(client, "/tokens", do="end_all")["Location"] == "/tokens"
    assert client.get("/tokens")["Location"].startswith("/sign-in")
    assert other.get("/tokens").status_code == 200
