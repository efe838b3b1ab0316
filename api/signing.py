"""Signing in, and who a request comes from."""

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib.auth import authenticate
from django.db import connection, transaction
from django.http import HttpRequest
from django.utils import timezone
from rest_framework.request import Request

from api.errors import CredentialsWrong, MakerNeeded, NotSignedIn, TooMany
from api.idempotency import Key
from api.models import Token
from ledger.access import Actor, set_walls
from ledger.errors import Forbidden, Invalid
from ledger.statements import run

LIFETIME = timedelta(days=30)
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

    Raises NotSignedIn, Forbidden for another's maker, MakerNeeded, and what the key settles.
    """
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    if scheme.lower() != "bearer" or not token:
        raise _not_signed_in()
    named = request.headers.get("Maker", "").strip()
    given = [
        digest(token.strip()),
        named,
        key.text if key else None,
        key.fingerprint if key else None,
    ]
    row = run(OPEN, given).fetchone()
    outcome, person, coop, maker, role, currency, time_zone, status, body, headers = row
    if outcome == "unknown":
        raise _not_signed_in()
    if outcome == "not_a_member":
        raise Forbidden("You are not a member of the maker that the header Maker names.")
    if outcome == "maker_needed":
        raise MakerNeeded
    if key is not None:
        key.settle(outcome, status, body, headers)
    return Actor(person, coop, maker, role, currency, time_zone)


def _not_signed_in() -> NotSignedIn:
    return NotSignedIn(WWW_Authenticate='Bearer realm="Stillroom"')


def sign_in(
    request: HttpRequest, *, username: str, password: str, coop: str | None, read_only: bool
) -> tuple[str, datetime, Sequence[Place]]:
    """A new token, the moment it expires, and the places it opens.

    Raises CredentialsWrong, TooMany after repeated wrong passwords, and CoopNeeded.
    """
    person = authenticate(request, username=username, password=password)
    if person is None:
        if getattr(request, "axes_locked_out", False):
            raise TooMany("Too many wrong passwords; wait a quarter of an hour.", Retry_After="900")
        raise CredentialsWrong
    places = [place for place in _places(person.pk) if coop in (None, place.slug)]
    slugs = sorted({place.slug for place in places})
    if not slugs:
        raise CredentialsWrong("You do not belong to this co-op, or to any.")
    if len(slugs) > 1:
        raise CoopNeeded(
            f'You belong to several co-ops: name one as "coop": {", ".join(slugs)}.',
            pointer="/coop",
        )
    token = secrets.token_urlsafe(32)
    with transaction.atomic(durable=True):
        set_walls(places[0].coop_id, None)
        kept = Token.objects.create(
            coop_id=places[0].coop_id,
            digest=digest(token),
            person_id=person.pk,
            read_only=read_only,
            expires_at=timezone.now() + LIFETIME,
        )
    return token, kept.expires_at, places


def sign_out(request: Request) -> None:
    """End the token that the request came with."""
    _, _, token = request.headers.get("Authorization", "").partition(" ")
    Token.objects.filter(digest=digest(token.strip())).delete()


def forget() -> None:
    """Forget the tokens that have expired, in all co-ops."""
    with connection.cursor() as cursor:
        cursor.execute("select api_forget_tokens()")


def _places(person: Any) -> list[Place]:
    with connection.cursor() as cursor:
        cursor.execute("select * from api_memberships(%s)", [person])
        return [Place(*row) for row in cursor.fetchall()]
