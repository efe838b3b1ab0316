"""Reading JSON strictly: what two readers could understand differently is refused."""

import hashlib
import json
from collections import Counter
from operator import attrgetter
from typing import IO, Any, NoReturn

import orjson
from django.conf import settings
from django.http import HttpRequest
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer

from api.errors import BadRequest, TooLarge
from ledger.errors import Sentence

DEEPEST = 20
PIECE, DRAINED = 65_536, 32 * 1024 * 1024


def read(body: bytes) -> Any:
    """The JSON value of a body. Raises BadRequest, saying where and why.

    Refused beside what is not JSON: a key that stands twice, NaN and Infinity, a number that does
    not fit, NUL, and nesting that no request of ours needs.
    """
    try:
        value = json.loads(
            body.decode(), object_pairs_hook=_once, parse_constant=_constant, parse_float=_number
        )
    except UnicodeDecodeError as error:
        raise BadRequest("The body is not UTF-8 text; send JSON in UTF-8.") from error
    except json.JSONDecodeError as error:
        raise BadRequest(
            Sentence(
                "The body is not JSON: {why} at line {line}, column {column}.",
                why=error.msg,
                line=error.lineno,
                column=error.colno,
            )
        ) from error
    except RecursionError as error:
        raise BadRequest("The body is nested too deeply.") from error
    except ValueError as error:
        raise BadRequest("A number in the body is too long.") from error
    check(value, DEEPEST)
    return value


def fingerprint(method: str, path: str, query: str, value: Any) -> bytes:
    """SHA-256 of a request; the same for the same JSON value, however spaced (RFC 8785's aim).

    A file in a form stands for itself by its own fingerprint.
    """
    canonical = json.dumps(
        value,
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
        default=attrgetter("fingerprint"),
    )
    text = "\n".join([method, path, query, canonical])
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        counts = Counter(key for key, _ in pairs)
        twice = counts.most_common(1)[0][0]
        raise BadRequest(
            Sentence("The key {twice!r} stands twice in one object; send it once.", twice=twice)
        )
    return found


def _constant(name: str) -> NoReturn:
    raise BadRequest(
        Sentence("{name} is not a number in JSON; send a decimal in quotes.", name=name)
    )


def _number(text: str) -> Any:
    """A number with a fraction; whole ones become integers, so that 60.0 is 60."""
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise BadRequest(
            Sentence("The number {text} is too large; send a decimal in quotes.", text=text[:40])
        )
    return int(value) if value.is_integer() and abs(value) < 2**53 else value


def check(value: Any, depth: int) -> None:
    """Raises BadRequest for what is nested too deeply, and for what no column can keep."""
    if depth == 0:
        raise BadRequest("The body is nested too deeply.")
    if isinstance(value, str):
        if "\0" in value or any("\ud800" <= char <= "\udfff" for char in value):
            raise BadRequest("A text in the body has a character that cannot be kept.")
    elif isinstance(value, dict):
        for key, inner in value.items():
            check(key, depth)
            check(inner, depth - 1)
    elif isinstance(value, list):
        for inner in value:
            check(inner, depth - 1)
    elif isinstance(value, int) and abs(value) > 2**63:
        raise BadRequest("A number in the body is too large; send a decimal in quotes.")


class StrictJSON(BaseParser):
    """DRF's parser of bodies."""

    media_type = "application/json"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None
    ) -> Any:
        request = parser_context["request"]._request
        return read(body_of(request, settings.LARGEST_JSON, TooLarge()))


def body_of(request: HttpRequest, most: int, too_large: TooLarge) -> bytes:
    """The body of a request, or `too_large` raised for one that says it has more than `most`."""
    if int(request.META.get("CONTENT_LENGTH") or 0) > most:
        _drain(request)
        raise too_large
    return request.body


def _drain(request: HttpRequest) -> None:
    """Read on to the end of a body that is too large: whoever is still sending it hears no answer.

    There is an end to this patience, too.
    """
    for _ in range(DRAINED // PIECE):
        if not request.read(PIECE):
            return


class FastJSON(BaseRenderer):
    """DRF's renderer of answers; decimals are strings before they get here."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None
    ) -> bytes:
        if data is None:
            return b""
        return data if isinstance(data, bytes) else orjson.dumps(data)
