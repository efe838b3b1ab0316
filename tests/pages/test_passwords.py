"""A person changes its own password: tried like signing in, and other sessions end."""

import uuid
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.test import Client

from api.models import Token
from ledger.access import acting_as
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in

OLD, NEW = "a bench, a kettle, a scale", "two kettles and no scale"


@pytest.fixture
def shop(database: Any, redis_server: Any) -> Workshop:
    """Whose owner has a password."""
    shop = open_workshop()
    person = _owner(shop)
    person.set_password(OLD)
    person.save()
    return shop


def _owner(shop: Workshop) -> User:
    return get_user_model().objects.get(id=shop.actor.person_id)


def _typed(old: str = OLD, new: str = NEW, again: str = NEW) -> dict[str, str]:
    return {"old": old, "password": new, "again": again}


def test_it_is_changed_and_other_sessions_end(shop: Workshop) -> None:
    here, elsewhere = signed_in(shop), signed_in(shop)
    assert "Change your password" in shown(here.get("/look"))
    key = uuid.uuid4().hex
    assert "not the same" in refused(here, "/password", **_typed(again="two kettles"))
    assert "too common" in refused(
        here, "/password", **_typed(new="password12", again="password12")
    )
    assert "not your password" in refused(here, "/password", **_typed(old="a bench"))
    assert _owner(shop).check_password(OLD)
    assert "It is changed" in done(here, "/password", form_key=key, **_typed())
    assert _owner(shop).check_password(NEW)
    assert here.get("/look").status_code == 200
    assert elsewhere.get("/look")["Location"].startswith("/sign-in")
    # A second tap of the same form is led to the same page.
    again = sent(here, "/password", form_key=key, **_typed())
    assert again["Location"] == "/password?changed=yes"


def test_wrong_passwords_lock_the_person_out_for_a_while(shop: Workshop) -> None:
    client = signed_in(shop)
    for _ in range(5):
        told = refused(client, "/password", **_typed(old="a guess"))
    assert "Too many wrong passwords" in told
    assert "Too many wrong passwords" in refused(client, "/password", **_typed())
    assert _owner(shop).check_password(OLD)
    assert client.get("/look").status_code == 200, "who is signed in goes on"


def test_a_token_to_read_with_changes_nothing(shop: Workshop) -> None:
    client = signed_in(shop)
    with acting_as(shop.actor):
        Token.objects.update(read_only=True)
    assert "changes no password" in refused(client, "/password", **_typed())
    assert _owner(shop).check_password(OLD)


def test_nobody_changes_nothing(database: Any, redis_server: Any) -> None:
    answer = sent(Client(SERVER_NAME="localhost"), "/password", **_typed())
    assert answer["Location"].startswith("/sign-in")
