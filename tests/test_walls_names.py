"""A name of another's that is typed is answered like one that nobody has, on a page and by the API.

Which fields look anything up, and where, is read from what they ask the database (tests/naming.py).
"""

import json
import re
import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from html import unescape
from typing import Any, Final
from urllib.parse import quote, quote_plus, urlencode

import psycopg
import pytest
from django.test import Client
from django.test.utils import override_settings

from api import rate
from deploy import embedded
from tests.api.bodies import DOCUMENT, OF_FIELD, body_of, settled
from tests.marking import KNOWN, OWN, Rows, whose_rows
from tests.naming import WORD, Names, names_around, three_makers
from tests.pages.browsing import signed_in
from tests.pages.fields import ID, read
from tests.pages.looking import ASKED, Seen, all_pages, route_of
from tests.pages.test_queries import pages_of
from tests.pages.ways import Way, answers, undone, ways_of
from tests.test_walls_http import OF_PATH, days_of, kind_of, operations
from tests.test_walls_texts import words_of

OPTION: Final = re.compile(r'<datalist id="([^"]+)">\s*<option value="([^"]*)"')
FIELD: Final = re.compile(r"<input[^>]* list=[^>]*>")
# Of rows to be filled the first is.
LATER_ROW: Final = re.compile(r"-[1-9]\d*-")

# What differs between two answers in any case.
MOMENT: Final = re.compile(r"\d{4}-\d\d-\d\dT[\d:.]+(?:Z|[+-]\d\d:\d\d)")
# Where what an id of a body or a path names is kept, if not in a table of its name.
TABLES: Final = {
    "line": "formulas_batchline",
    "sale": "ledger_entry",
    "order": "ledger_purchaseorder",
    "order_line": "ledger_purchaseorderline",
    "receiver": "ledger_alertreceiver",
    "round": "ledger_orderround",
    "count": "ledger_countsheet",
    "fill": "formulas_filling",
    "notice": "ledger_recallnotice",
    "list": "api_sentlist",
    "token": "api_token",
    "container": "ledger_material",
}


@dataclass(frozen=True)
class Ground:
    """What a maker can send, each with something in every field, and the names of others."""

    client: Client
    ways: list[tuple[Way, Mapping[str, Any], Mapping[str, str]]]
    names: Names
    rows: Rows


@pytest.fixture(scope="module")
def ground(database: embedded.Server, redis_server: Any) -> Iterator[Ground]:
    shop, ids = three_makers()
    client = signed_in(shop)
    with override_settings(RATE_PER_MINUTE=1_000_000):
        rate.limit.cache_clear()
        pages = all_pages(client, of_each=1, also=[*ASKED, *pages_of(ids)])
        ways = {one[0].kind: one for page in pages for one in _ways(page)}
        with psycopg.connect(database.url_admin) as admin:
            names, rows = names_around(admin, shop), whose_rows(admin, shop)
        yield Ground(client, [*ways.values()], names, rows)
    rate.limit.cache_clear()


def _ways(page: Seen) -> Iterator[tuple[Way, dict[str, Any], dict[str, str]]]:
    """The forms of a page that take words, filled with what its lists suggest; and that alone."""
    first = {list: unescape(option) for list, option in OPTION.findall(page.text)}
    suggested = {}
    for tag in FIELD.findall(page.text):
        has = dict(re.findall(r'([a-z-]+)="([^"]*)"', tag))
        suggested[has.get("name", "")] = first.get(has["list"], "")
    for form in read(page).forms:
        for way in ways_of(form):
            known = {name: text for name, text in suggested.items() if name in way.words and text}
            told = way.told(**{**way.chosen, **known})
            if way.words:
                first_row = {name: one for name, one in told.items() if not LATER_ROW.search(name)}
                yield way, first_row, known


def test_a_name_of_anothers_is_answered_like_one_of_nobodys(ground: Ground) -> None:
    tried, heeded, fields = 0, 0, set()
    for way, told, name, suggested in _fields(ground):
        typed = {**told, name: WORD}
        asked = ground.names.looked_up(partial(answers, ground.client, way, typed))
        for text in dict.fromkeys((*asked, *ground.names.beside(suggested))):
            said, nobodys = _both(ground, way, told, name, text)
            assert said == nobodys, (way.kind[:4], name, text)
            tried += 1
            fields.add((route_of(way.to), name))
        if suggested:
            said, nobodys = _both(ground, way, told, name, suggested)
            heeded += said != nobodys
    # One's own is answered otherwise, or this would prove nothing.
    assert heeded >= 4, heeded
    assert len(fields) >= 20, fields
    assert tried >= 60, tried


def _fields(ground: Ground) -> Iterator[tuple[Way, Mapping[str, Any], str, str]]:
    """Every field for words, one of each, and what it suggests."""
    seen = set()
    for way, told, known in ground.ways:
        for name in way.words:
            bare = re.sub(r"\d+", "0", ID.sub("*", name))
            one = (route_of(way.to), way.htmx, *way.sends.get("do", ()), bare)
            if one not in seen:
                seen.add(one)
                yield way, told, name, known.get(name, "")


def _both(
    ground: Ground, way: Way, told: Mapping[str, Any], name: str, text: str
) -> list[list[tuple[int, str, str]]]:
    """What is told of a text, and of one like it that is nobody's.

    Without either, since a page may have the one as a word of its own, as it has "packaging".
    """
    typed = (text, ground.names.unlike(text))
    return [_told(ground, way, {**told, name: one}, typed) for one in typed]


def _told(
    ground: Ground, way: Way, told: Mapping[str, Any], typed: Sequence[str]
) -> list[tuple[int, str, str]]:
    """What an answer tells, and the page that it leads to, but for what was typed."""
    return [
        (
            answer.status_code,
            ID.sub("", _without(typed, answer.headers.get("Location", ""))),
            re.sub(r"\s+", " ", _without(typed, words_of(answer))),
        )
        for answer in answers(ground.client, way, told)
    ]


def _without(texts: Sequence[str], said: str) -> str:
    for typed in (way(text) for text in texts for way in (str, quote, quote_plus)):
        # What only has it in it, as NB1 has B1, says nothing of what was typed.
        said = re.sub(rf"(?<!\w){re.escape(typed)}(?!\w)", "…", said)
    return said


@dataclass(frozen=True)
class Ask:
    """A request to the API, in whose query or body something is typed under a name."""

    name: str
    method: str
    to: str
    query: Mapping[str, str]
    body: Mapping[str, Any] | None = None

    def sent(self, ground: Ground, text: str) -> tuple[int, str]:
        """What is answered, but for what was typed, and what is new each time."""
        typed = {self.name: text}
        query = urlencode({**self.query, **(typed if self.body is None else {})})
        headers = {
            "Authorization": f"Bearer {ground.client.cookies['stillroom'].value}",
            "Idempotency-Key": str(uuid.uuid4()),
            "If-Match": "*",
        }
        with undone():
            answer = Client(SERVER_NAME="localhost").generic(
                self.method,
                f"{self.to}?{query}",
                "" if self.body is None else json.dumps({**self.body, **typed}),
                content_type="application/json",
                headers=headers,
            )
        said = _without([text], answer.content.decode(errors="replace"))
        return answer.status_code, MOMENT.sub("", ID.sub("", said))


def test_so_is_it_by_the_api(ground: Ground) -> None:
    own = {kind: [_own(ground, kind)] for kind in {*OF_FIELD.values(), *OF_PATH.values()}}
    tried, fields = 0, set()
    for path, method, operation in operations():
        at = path.replace("{id}", own[kind_of(path)][0]) if "{" in path else path
        for ask in _asks(at, method, operation, own):
            for text in ground.names.looked_up(partial(ask.sent, ground, WORD)):
                nobodys = ask.sent(ground, ground.names.unlike(text))
                assert ask.sent(ground, text) == nobodys, (method, path, ask.name, text)
                tried += 1
                fields.add((path.removeprefix("/api/v1"), ask.name))
    assert {("/lots", "code"), ("/materials", "name"), ("/complaints", "batch_code")} <= fields
    assert tried >= 25, tried


def _own(ground: Ground, kind: str) -> str:
    """The id of something of a kind that the maker sees."""
    tables = (TABLES.get(kind, ""), f"ledger_{kind}", f"formulas_{kind}")
    found = [id for table in tables for id in ground.rows.get(table, {}).get(OWN, [])]
    found += [id for table in tables for id in ground.rows.get(table, {}).get(KNOWN, [])]
    return str(found[0]) if found else str(uuid.uuid4())


def _asks(at: str, method: str, operation: Any, own: dict[str, list[str]]) -> Iterator[Ask]:
    """Every text that an operation takes, in its query or its body."""
    for one in operation["parameters"]:
        if one["in"] == "query" and one["name"] not in OF_FIELD and _is_text(one["schema"]):
            yield Ask(one["name"], method, at, days_of(operation))
    body = settled(body_of(operation, own))
    if isinstance(body, dict):
        wanted, texts = _described(operation)
        # What may be left out may stand in the way of what is looked for otherwise.
        needed = {name: one for name, one in body.items() if name in wanted}
        for name in texts:
            yield from (Ask(name, method, at, {}, rest) for rest in (body, needed))


def _described(operation: Any) -> tuple[set[str], list[str]]:
    """What a body must have, and what of it is free text."""
    (described, *_) = [one["schema"] for one in operation["requestBody"]["content"].values()]
    if "$ref" in described:
        described = DOCUMENT["components"]["schemas"][described["$ref"].rpartition("/")[2]]
    inner = described.get("properties", {})
    texts = [name for name, one in inner.items() if name not in OF_FIELD and _is_text(one)]
    return set(described.get("required", [])), texts


def _is_text(described: Any) -> bool:
    return described.get("type") == "string" and not {"enum", "format"} & set(described)
