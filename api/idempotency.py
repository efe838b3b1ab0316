"""A retry is safe: the same key with the same request happens once.

Which answer a key got is kept in the transaction of the work itself, so there is never one
without the other. `api_open` (api/sql/opening.sql) looks it up while it opens the request, keeps a
second request with the key away, and removes an answer that has had its days.
"""

import hashlib
from dataclasses import dataclass
from typing import Any

import orjson
from django.db import connection
from rest_framework.request import Request
from rest_framework.response import Response

from api.errors import BadRequest, KeyInFlight, KeyMissing, KeyReused, TooLarge
from api.reading import fingerprint
from ledger.access import Actor
from ledger.errors import (
    Refusal,
    Sentence,
)
from ledger.ids import new_id
from ledger.statements import run, unhurried

LONGEST = 255
KEPT_HEADERS = ("ETag", "Location")

KEEP = """
insert into api_answer (coop_id, maker_id, id, person_id, key, fingerprint, status, body, headers)
values (%s, %s, %s, %s, %s, %s, %s, %s, %s)
"""


class Answered(Exception):
    """The request was answered before; this is that answer."""

    def __init__(self, status: int, body: str, headers: dict[str, str]) -> None:
        self.status, self.body, self.headers = status, body, headers
        super().__init__(status)

    def response(self) -> Response:
        kind = "application/problem+json" if self.status >= 400 else None
        headers = {**self.headers, "Replayed": "true"}
        return Response(self.body.encode(), self.status, headers=headers, content_type=kind)


@dataclass(slots=True)
class Key:
    """The Idempotency-Key of a request, and what the request says."""

    text: str
    fingerprint: bytes
    # A body that cannot be read is refused only after its sender is known.
    unreadable: Refusal | None = None

    @classmethod
    def of(cls, request: Request) -> "Key":
        """Raises KeyMissing, and BadRequest for a key that cannot be kept."""
        text = request.headers.get("Idempotency-Key", "").strip()
        # The header's draft makes it a structured-field string, in quotes; bare is taken too.
        if len(text) >= 2 and text[0] == text[-1] == '"':
            text = text[1:-1].replace('\\"', '"').replace("\\\\", "\\")
        if not text:
            raise KeyMissing
        if len(text) > LONGEST or not text.isprintable():
            raise BadRequest(
                Sentence(
                    "An Idempotency-Key has at most {longest} printable characters.",
                    longest=LONGEST,
                )
            )
        query = request.META.get("QUERY_STRING", "")
        try:
            value = request.data
        except TooLarge:
            # Its body was not read in, so there is nothing to know it by.
            raise
        except Refusal as refusal:
            return cls(text, hashlib.sha256(request.body).digest(), refusal)
        return cls(text, fingerprint(request.method or "", request.path, query, value))

    def settle(self, outcome: str, status: int, body: str, headers: str) -> None:
        """Raises what the lookup found to be in the way, an earlier answer included."""
        if outcome == "in_flight":
            raise KeyInFlight(Retry_After="1")
        if outcome == "key_reused":
            raise KeyReused
        if outcome == "answered":
            raise Answered(status, body, orjson.loads(headers))

    def keep(self, actor: Actor, response: Response) -> None:
        """Keep the answer beside the work, in its transaction; what is shown once is left out."""
        headers = {name: response[name] for name in KEPT_HEADERS if name in response}
        data: Any = response.data
        if once := getattr(response, "once", ()):
            data = {**data, **dict.fromkeys(once)}
        body = data if isinstance(data, bytes) else orjson.dumps(data)
        self.keep_as(actor, response.status_code, body.decode(), headers)

    def keep_as(self, actor: Actor, status: int, body: str, headers: dict[str, str]) -> None:
        """The same of an answer in its parts."""
        run(
            KEEP,
            [
                actor.coop_id,
                actor.maker_id,
                new_id(),
                actor.person_id,
                self.text,
                self.fingerprint,
                status,
                body,
                orjson.dumps(headers).decode(),
            ],
        )


def forget() -> None:
    """Forget the answers that are older than seven days, in all co-ops."""
    with unhurried(), connection.cursor() as cursor:
        cursor.execute("select api_forget_answers()")
