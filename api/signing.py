"""Signing in, and who a request comes from."""

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib.auth import authenticate, get_user_model, user_logged_in
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from rest_framework.request import Request

from api import rate
from api.errors import CredentialsWrong, MakerNeeded, NotSignedIn, TooMany
from api.idempotency import Key
from api.models import Token
from ledger.access import Actor, find, set_walls
from ledger.errors import (
    Forbidden,
    Invalid,
    NotFound,
    Sentence,
)
from ledger.statements import run, unhurried

LIFETIME = timedelta(days=30)
LONGEST_NOTE = 80
REALM = 'Bearer realm="Stillroom"'
OPEN = "select * from api_open(%s, %s, %s, %s)"


class CoopNeeded(Invalid):
    """You belong to several co-ops: name one as "coop"."""

    code = "coop_needed"


@dataclass(frozen=True, slots=True)
class Place:
    """One of the places where a person works."""

    coop_id: UUID
    slug: str
    coop_name: str
    currency: str
    time_zone: str
    maker_id: UUID | None
    maker_name: str | None
    role: str


def digest(token: str) -> bytes:
    """What is kept of a token: it has 256 random bits, so one round of SHA-256 is enough."""
    return hashlib.sha256(token.encode()).digest()


def actor_of(request: Request, key: Key | None) -> Actor:
    """Who acts, with the walls set for the open transaction, in one round trip.

    Raises NotSignedIn, or TooMany instead when that came too often from one address; Forbidden for
    another's maker, MakerNeeded, and what the key settles.
    """
    try:
        return opened(bearer(request), request.headers.get("Maker", "").strip(), key)
    except NotSignedIn:
        rate.count_refused(request)
        raise


def opened(token: str, maker: str, key: Key | None) -> Actor:
    """Who acts by a token, for the maker with this id or (if "") the only one.

    Raises NotSignedIn, Forbidden for another's maker, MakerNeeded, and what the key settles.
    """
    if not token:
        raise NotSignedIn(WWW_Authenticate=REALM)
    given = [
        digest(token),
        maker,
        key.text if key else None,
        key.fingerprint if key else None,
    ]
    row = run(OPEN, given).fetchone()
    outcome, person, coop, seen, role, currency, time_zone, status, body, headers = row
    if outcome == "unknown":
        raise NotSignedIn(WWW_Authenticate=REALM)
    if outcome == "not_a_member":
        raise Forbidden("You are not a member of the maker that the header Maker names.")
    if outcome == "maker_needed":
        raise MakerNeeded
    if key is not None:
        key.settle(outcome, status, body, headers)
    return Actor(person, coop, seen, role, currency, time_zone)


def bearer(request: Request) -> str:
    """The token that the request came with, or nothing."""
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    return token.strip() if scheme.lower() == "bearer" else ""


def sign_in(
    request: HttpRequest,
    *,
    username: str,
    password: str,
    coop: str | None,
    read_only: bool,
    note: str = "",
) -> tuple[str, datetime, Sequence[Place]]:
    """A new token, the moment it expires, and the places it opens.

    Raises CredentialsWrong, TooMany after repeated wrong passwords, and CoopNeeded.
    """
    person = recognise(request, username, password)
    places = [place for place in _places(person.pk) if coop in (None, place.slug)]
    slugs = sorted({place.slug for place in places})
    if not slugs:
        raise CredentialsWrong(
            "You do not belong to this co-op, or to any.", WWW_Authenticate=REALM
        )
    if len(slugs) > 1:
        raise CoopNeeded(
            Sentence(
                'You belong to several co-ops: name one as "coop": {names}.', names=", ".join(slugs)
            ),
            pointer="/coop",
        )
    with transaction.atomic(durable=True):
        set_walls(places[0].coop_id, None)
        token, kept = issue(places[0].coop_id, person.pk, read_only=read_only, note=note)
    return token, kept.expires_at, places


def issue(coop: UUID, person: int, *, read_only: bool, note: str = "") -> tuple[str, Token]:
    """A new token of a person to this co-op, within its walls, and what is kept of it.

    Whoever calls has recognised the person by the password.
    """
    token = secrets.token_urlsafe(32)
    kept = Token.objects.create(
        coop_id=coop,
        digest=digest(token),
        person_id=person,
        read_only=read_only,
        note=note,
        expires_at=timezone.now() + LIFETIME,
    )
    return token, kept


def recognise(request: HttpRequest, username: str, password: str) -> User:
    """The person who has typed this password; counted outside of any transaction that may fail.

    Raises CredentialsWrong, and TooMany after repeated wrong passwords.
    """
    person = authenticate(request, username=username, password=password)
    if not isinstance(person, User):
        if getattr(request, "axes_locked_out", False):
            raise TooMany("Too many wrong passwords; wait a quarter of an hour.", Retry_After="900")
        raise CredentialsWrong(WWW_Authenticate=REALM)
    # Wrong passwords before it are forgotten.
    user_logged_in.send(sender=type(person), request=request, user=person)
    return person


def end(token: str) -> None:
    """End this token, within the walls of its co-op."""
    Token.objects.filter(digest=digest(token)).delete()


def tokens_of(actor: Actor, *, now: datetime) -> "QuerySet[Token]":
    """The tokens that a person is signed in with to this co-op."""
    return _own_tokens(actor).filter(expires_at__gt=now)


def is_current(kept: Token, token: str) -> bool:
    """Whether this is what is kept of that token."""
    return bytes(kept.digest) == digest(token)


def end_token(actor: Actor, id: str, *, current: str) -> None:
    """End one of the person's tokens to this co-op, asked with the token `current`.

    Raises NotFound, and Forbidden when a token to read with would end another.
    """
    kept = find(_own_tokens(actor), id)
    if not is_current(kept, current):
        _must_do_more_than_read(actor, current)
    kept.delete()


def end_all_tokens(actor: Actor, *, current: str) -> None:
    """Sign a person out of this co-op everywhere. Raises Forbidden for a token to read with."""
    _must_do_more_than_read(actor, current)
    _own_tokens(actor).delete()


def set_password(username: str, password: str) -> int:
    """Set a person's password and end all its tokens, in all co-ops; returns how many there were.

    Raises NotFound, and Invalid for a password that is easily guessed.
    """
    with transaction.atomic(durable=True):
        person = _person(username)
        _keep_password(person, password)
        return _end_everywhere(person)


def change_password(username: str, password: str, token: str) -> None:
    """Set the person's own new password; of all its tokens, in all co-ops, this one alone stays.

    Whoever calls has recognised the person by the old one. Raises Forbidden for a token to read
    with, and Invalid for a password that is easily guessed.
    """
    current = Token.objects.get(digest=digest(token))
    if current.read_only:
        raise Forbidden("A token to read with changes no password.")
    person = _person(username)
    _keep_password(person, password)
    _end_everywhere(person)
    current.save(force_insert=True)


def _keep_password(person: User, password: str) -> None:
    """Raises Invalid for one that is easily guessed."""
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise Invalid(" ".join(error.messages), pointer="/password") from error
    person.set_password(password)
    person.save(update_fields=["password"])


def set_active(username: str, *, active: bool) -> int:
    """Let a person sign in, or not any more; then all its tokens end, in all co-ops.

    Returns how many ended. Raises NotFound.
    """
    with transaction.atomic(durable=True):
        person = _person(username)
        person.is_active = active
        person.save(update_fields=["is_active"])
        return 0 if active else _end_everywhere(person)


def forget() -> None:
    """Forget the tokens that have expired, in all co-ops."""
    with unhurried(), connection.cursor() as cursor:
        cursor.execute("select api_forget_tokens()")


def _places(person: Any) -> list[Place]:
    with connection.cursor() as cursor:
        cursor.execute("select * from api_memberships(%s)", [person])
        return [Place(*row) for row in cursor.fetchall()]


def _own_tokens(actor: Actor) -> "QuerySet[Token]":
    return Token.objects.filter(coop_id=actor.coop_id, person_id=actor.person_id)


def _must_do_more_than_read(actor: Actor, current: str) -> None:
    if _own_tokens(actor).filter(digest=digest(current), read_only=True).exists():
        raise Forbidden("A token to read with can end itself and no other.")


def _person(username: str) -> User:
    """The person, kept from changing until the open transaction ends. Raises NotFound."""
    person = get_user_model().objects.select_for_update().filter(username=username).first()
    if person is None:
        raise NotFound(Sentence("Nobody signs in as {username!r}.", username=username))
    return person


def _end_everywhere(person: User) -> int:
    with connection.cursor() as cursor:
        cursor.execute("select api_end_tokens(%s)", [person.pk])
        (ended,) = cursor.fetchone()
    return int(ended)
