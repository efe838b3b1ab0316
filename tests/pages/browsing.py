"""A browser of a workshop's owner, without a server: what it is shown, and forms that it sends."""

import hashlib
import re
import secrets
import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html import unescape
from html.parser import HTMLParser
from typing import Any

from django.contrib.auth import get_user_model
from django.test import Client

from api.models import Token
from api.pages.screen import UNTYPED
from ledger.access import acting_as
from ledger.makers import set_role
from ledger.models import Maker, Membership
from tests.factories import Workshop


def signed_in(shop: Workshop) -> Client:
    """A browser of the workshop's owner."""
    token = secrets.token_urlsafe(32)
    with acting_as(shop.actor):
        Token.objects.create(
            coop_id=shop.actor.coop_id,
            digest=hashlib.sha256(token.encode()).digest(),
            person_id=shop.actor.person_id,
            expires_at=datetime.now(UTC) + timedelta(days=1),
        )
    client = Client(SERVER_NAME="localhost")
    client.cookies["stillroom"] = token
    return client


def in_role(shop: Workshop, role: Membership.Role) -> Client:
    """A browser of somebody else of the workshop's maker, in another role."""
    person = get_user_model().objects.create(username=f"{role}-{uuid.uuid4()}")
    with acting_as(shop.actor):
        name = Maker.objects.get(id=shop.actor.maker).name
    set_role(coop=shop.coop, maker=name, person=person, role=role)
    return signed_in(replace(shop, actor=replace(shop.actor, person_id=person.pk, role=role)))


def shown(answer: Any) -> str:
    """The words of a page, as they are read."""
    text = re.sub(r"<[^>]+>", " ", answer.content.decode())
    return re.sub(r"\s+", " ", unescape(text))


def sent(client: Client, path: str, **typed: Any) -> Any:
    """A form with a key of its own, sent; where it leads is not gone to."""
    return client.post(path, {"form_key": uuid.uuid4().hex, **typed})


def done(client: Client, path: str, **typed: str | list[str]) -> str:
    """A form that was done; the words of the page that it leads to."""
    answer = sent(client, path, **typed)
    assert answer.status_code == 303, shown(answer)
    return shown(client.get(answer["Location"]))


def refused(client: Client, path: str, **typed: str | list[str]) -> str:
    """A form that was refused; the words at what is wrong."""
    answer = sent(client, path, **typed)
    assert answer.status_code == 422, answer.status_code
    page = answer.content.decode()
    # It says so, and something on it has the focus.
    assert re.search("<title>(Not done|One question): ", page)
    assert 'class="unkept"' in page
    assert " autofocus" in page
    wrong = re.findall(r'<ul class="errorlist[^"]*"[^>]*>(.*?)</ul>', page)
    return unescape(re.sub(r"<[^>]+>", "", " ".join(wrong)))


class _Forms(HTMLParser):
    """The forms of a page: the names of their fields, and what stands in them."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[dict[str, str]] = []
        self.select = ""

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        has = dict(attrs)
        name, value = has.get("name"), has.get("value") or ""
        if tag == "form":
            self.forms.append({})
        elif tag == "select":
            self.select = str(name)
        elif tag == "option" and "selected" in has:
            self.forms[-1][self.select] = value
        elif tag == "input" and name and ("checked" in has or not _is_choice(has)):
            self.forms[-1][name] = value


def _is_choice(has: dict[str, str | None]) -> bool:
    return has.get("type") in {"radio", "checkbox"}


def typed_in(client: Client, path: str, name: str) -> dict[str, str]:
    """What the form that has a field of this name would send as it stands."""
    reader = _Forms()
    reader.feed(client.get(path).content.decode())
    (found,) = [form for form in reader.forms if name in form]
    return {name: value for name, value in found.items() if name not in UNTYPED}
