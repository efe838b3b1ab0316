"""The walls and the markup of every text, on every page, in every file and for every form.

Each text that is kept is marked with whose it is and with its column (`tests/marking.py`). What a
page shows of others can then be named to the column, and what it lets out as markup is a tag.
"""

import io
import re
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from html import unescape
from html.parser import HTMLParser
from typing import Any, Final
from urllib.parse import urlencode

import openpyxl
import psycopg
import pytest
from django.test import Client
from django.test.utils import override_settings
from psycopg import sql

from api import rate
from deploy import embedded
from ledger.quantities import parse_quantity
from ledger.sharing import open_share
from tests import marking
from tests.exchanging import recalled, settled, shared
from tests.factories import MORNING, Workshop, open_workshop
from tests.filling import fill, fill_the_rest
from tests.marking import (
    ABROAD,
    BETWEEN,
    ENDS,
    HIDDEN,
    KNOWN,
    OF_A_LIST,
    OWN,
    SIGN,
    UNSHOWN,
    Marks,
    Rows,
)
from tests.pages.browsing import signed_in
from tests.pages.fields import ID, Asked, Reader, asked_by, files_of, read, searches
from tests.pages.looking import ASKED, ROUTES, Seen, all_pages, looked_at, route_of
from tests.pages.shops import planned_ahead, work
from tests.pages.test_queries import pages_of, without_one
from tests.pages.test_rounds import for_the_co_op
from tests.telling import tell_more
from tests.test_walls_pages import assert_nothing_inline

# What a maker reads of another's rows, and where.
SHARED: Final = {
    # What one writes to the other beside goods, money, and a recall.
    (BETWEEN, "ledger_movement.note"): {"/movements/<uuid:id>", "/settlement/statement"},
    (BETWEEN, "ledger_transfer.note"): {"/transfers/<uuid:id>"},
    (BETWEEN, "ledger_transfer.reason"): {"/transfers/<uuid:id>"},
    (BETWEEN, "ledger_recallnotice.reason"): {"/recall-notices/<uuid:id>", "/recalls"},
    (BETWEEN, "ledger_recallanswer.reason"): {"/recalls/<uuid:id>", "/recalls/<uuid:id>/sheet"},
    # Which lot it is that another has opened to the co-op.
    (HIDDEN, "ledger_lot.code"): {"/shares/<uuid:id>", "/co-op"},
    (HIDDEN, "ledger_lot.supplier_lot"): {"/shares/<uuid:id>"},
}
# A place in a list, after which it goes on: not a thing, and nothing is told of it.
PLACE: Final = "after"


@dataclass(frozen=True)
class Ground:
    """Three makers, two of them of one co-op, every text of theirs, and the pages of the first."""

    shop: Workshop
    url: str
    rows: Rows
    marks: Marks
    client: Client
    pages: list[Seen]
    readers: list[Reader]

    def of_others(self, text: str) -> set[tuple[str, str]]:
        """What stands in a text that is neither its own nor the co-op's."""
        return {one for one in self.marks.of(text) if one[0] not in {OWN, KNOWN}}


@pytest.fixture(scope="module")
def unlimited() -> Iterator[None]:
    """A quick machine asks more here than a person may in a minute."""
    with override_settings(RATE_PER_MINUTE=1_000_000):
        rate.limit.cache_clear()
        yield
    rate.limit.cache_clear()


@pytest.fixture(scope="module")
def ground(database: embedded.Server, redis_server: Any, unlimited: None) -> Ground:
    shop = open_workshop("North Bench")
    other = open_workshop("Mill Bench", coop=shop.coop)
    ids = {}
    for number, one in enumerate((shop, other, open_workshop("Quay Bench"))):
        ids[one] = work(one, number)
        planned_ahead(one, number)
        fill_the_rest(one)
    fill(shop)
    for giver, taker in ((shop, other), (other, shop)):
        recalled(giver, taker)
        shared(giver, taker)
    settled(shop, other)
    lot = other.receive(other.material("Rice bran wax"), "1 kg", "9.00")
    about = {"quantity": parse_quantity("500 g"), "happened_at": MORNING}
    other.does(open_share, lot=lot.id, **about)
    told = [*pages_of(ids[shop]), without_one(shop), *tell_more(shop, other)]
    client = signed_in(shop)
    with psycopg.connect(database.url_admin, autocommit=True) as admin:
        rows = marking.whose_rows(admin, shop)
        marks = marking.mark_every_text(admin, rows)
        pages = list(all_pages(client, of_each=1))
        pages += [looked_at(client, path) for path in dict.fromkeys((*ASKED, *told))]
        pages += [looked_at(client, path) for path in _telling(pages, admin, rows)]
    assert {one.route for one in pages} == set(ROUTES)
    # Of some other formula nobody knows what it costs.
    assert [(one.path, one.status) for one in pages if one.status not in (200, 422)] == []
    return Ground(shop, database.url_admin, rows, marks, client, pages, [*map(read, pages)])


@pytest.fixture(scope="module")
def files(ground: Ground) -> list[tuple[str, str]]:
    """What stands in the file of each table, by its address."""
    found = files_of(ground.readers)
    assert len(found) >= 100
    answers = [(address, ground.client.get(address)) for address in found.values()]
    assert {answer.status_code for _, answer in answers} == {200}
    return [(address, all_of(answer)) for address, answer in answers]


@pytest.fixture(scope="module")
def of_coop(ground: Ground) -> list[Seen]:
    """The pages of whoever acts for the co-op alone."""
    return [one for one in all_pages(for_the_co_op(ground.shop), of_each=1) if one.text]


def _telling(pages: list[Seen], admin: psycopg.Connection[Any], rows: Rows) -> Iterator[str]:
    """The same pages of other things, about which more is told."""
    known = {one.path for one in pages}
    told = {table: _most_told(admin, rows, table) for table in rows}
    tables = {str(id): table for table in rows for id in _mine(rows, table)}
    for one in pages:
        bare = one.path.partition("?")[0]
        for id in ID.findall(bare):
            for other in told[tables[id]]:
                path = bare.replace(id, str(other))
                if path not in known:
                    known.add(path)
                    yield path


def _mine(rows: Rows, table: str) -> list[Any]:
    """What the maker sees of a table, in the order in which it was made."""
    seen = [id for letter in (OWN, KNOWN, BETWEEN) for id in rows.get(table, {}).get(letter, [])]
    return sorted(seen)


def _most_told(admin: psycopg.Connection[Any], rows: Rows, table: str) -> list[Any]:
    """Few rows of a table with, among them, all kinds of texts that are kept about such rows."""
    under: dict[Any, set[str]] = {id: set() for id in _mine(rows, table)}
    for model in {model for model, _ in marking.texts()}:
        for column in model._meta.concrete_fields:
            if column.related_model is None or column.related_model._meta.db_table != table:
                continue
            child = model._meta.db_table
            asked = f"select distinct {column.column} from {child} where id = any(%s)"
            for (id,) in admin.execute(asked, [_mine(rows, child)]):
                if id in under:
                    under[id].add(f"{child}.{column.column}")
    # The last is mostly still open, whatever it is.
    chosen: list[Any] = list(under)[-1:]
    left = set().union(*under.values()).difference(*(under[id] for id in chosen))
    while left:
        best = max(under, key=lambda id: len(under[id] & left))
        chosen.append(best)
        left -= under[best]
    return chosen


class Texts(HTMLParser):
    """The ids of a page's elements, and its texts: those of attributes as well."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.ids: set[str] = set()
        self.texts: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.ids |= {value or "" for name, value in attrs if name == "id"}
        self.texts += [value or "" for _, value in attrs]

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def test_every_text_is_shown_as_text(ground: Ground) -> None:
    for page in ground.pages:
        if not page.text:
            continue
        assert_nothing_inline(page.path, page.text, page.policy)
        texts = Texts(page.text)
        assert not {one for one in texts.ids if re.fullmatch("[A-Z][0-9a-z]{2}", one)}, page.path
        for text in texts.texts:
            for sign in SIGN.finditer(text):
                # A text that was cut short ends otherwise; one that broke out ends within these.
                after = text[sign.end() :]
                assert after not in {ENDS[:1], ENDS[:2]}, f"{page.path}: {text}"
            # Nothing is escaped twice.
            assert "&lt;b" not in text, f"{page.path}: {text}"
            assert "&amp;" not in text, f"{page.path}: {text}"


def test_every_text_is_shown_or_it_is_said_why_not(
    ground: Ground, files: list[tuple[str, str]], of_coop: list[Seen]
) -> None:
    said = ["".join(Texts(page.text).texts) for page in (*ground.pages, *of_coop)]
    said += [text for _, text in files]
    found = set().union(*(ground.marks.of(text) for text in said))
    seen = {column for letter, column in found if letter in {OWN, KNOWN}}
    assert {one.partition(".")[2] for one in ground.marks.refused} == OF_A_LIST
    unseen = {*ground.marks.columns.values()} - seen - ground.marks.refused
    assert unseen == set().union(*UNSHOWN.values())


def test_of_others_is_shown_what_is_between_them_alone(
    ground: Ground, files: list[tuple[str, str]]
) -> None:
    found: dict[tuple[str, str], set[str]] = {}
    said = [(page.route, page.path, unescape(page.text)) for page in ground.pages]
    said += [(route_of(address), address, text) for address, text in files]
    for route, path, text in said:
        for one in ground.of_others(text):
            assert route in SHARED.get(one, ()), f"{path}: {one}"
            found.setdefault(one, set()).add(route)
    assert found == SHARED


def test_a_coordinator_sees_nothing_of_any_maker(ground: Ground, of_coop: list[Seen]) -> None:
    assert len(of_coop) >= 10
    for page in of_coop:
        shown = {one for one in ground.marks.of(unescape(page.text)) if one[0] != KNOWN}
        # Who signed in is the maker's owner as well.
        assert shown <= {(OWN, "auth_user.username")}, page.path


def test_a_search_for_any_text_finds_ones_own(ground: Ground) -> None:
    fields = searches(ground.readers)
    assert len(fields) >= 2, fields
    for path, field in fields.items():
        said = unescape(looked_at(ground.client, f"{path}?{urlencode({field: '<b id'})}").text)
        assert ground.marks.of(said), path
        assert not ground.of_others(said), path


def test_anothers_id_is_nowhere(ground: Ground) -> None:
    """In every field, query and file that a page asks for: as if there were no such thing."""
    places = _places(ground.rows)
    asked: dict[Any, Asked] = {}
    for one in asked_by(ground.readers):
        if one.id in places:
            asked.setdefault((*one.kind, places[one.id][0]), one)
    assert len(asked) >= 180, len(asked)
    assert len([one for one in asked.values() if one.method == "post" and one.name]) >= 30
    before, tried = _digests(ground), 0
    for one in asked.values():
        nowhere = one.about(str(uuid.uuid4()))
        answer = _answer(ground.client, nowhere)
        expected = _told(answer, nowhere)
        # A field that is called by what is not in the form is left alone; all else is looked for.
        assert answer.status_code != 303 or one.id in one.name, one
        for id in _counterparts(ground.rows, places[one.id]):
            foreign = one.about(id)
            answer = _answer(ground.client, foreign)
            others = ground.of_others(all_of(answer))
            assert all(route_of(one.to) in SHARED.get(sign, ()) for sign in others), foreign
            assert id not in words_of(answer), foreign
            if one.name != PLACE:
                assert _told(answer, foreign) == expected, foreign
            tried += 1
    assert tried >= 340, tried
    assert _digests(ground) == before


def _places(rows: Rows) -> dict[str, tuple[str, int]]:
    """What may be asked for, by its id: its table, and which it is of what this maker sees."""
    found: dict[str, tuple[str, int]] = {}
    for table in rows:
        found |= {str(id): (table, at) for at, id in enumerate(_mine(rows, table))}
    return found


def _counterparts(rows: Rows, place: tuple[str, int]) -> Iterator[str]:
    """What another maker of the co-op has instead, and what one of another co-op has."""
    table, at = place
    for letter in (HIDDEN, ABROAD):
        there = rows[table].get(letter, [])
        if there:
            yield str(there[min(at, len(there) - 1)])


def _answer(client: Client, asked: Asked) -> Any:
    htmx = {"HX-Request": "true"} if asked.htmx else {}
    if asked.method == "get":
        query = f"?{urlencode(asked.sends)}" if asked.sends else ""
        return client.get(f"{asked.to}{query}", headers=htmx)
    sent: dict[str, list[str]] = {}
    for name, value in asked.sends:
        sent.setdefault(name, []).append(value or asked.typed.get(name, ""))
    typed = {name: [value] for name, value in asked.typed.items()}
    return client.post(asked.to, {**typed, **sent, "form_key": uuid.uuid4().hex}, headers=htmx)


def _told(answer: Any, asked: Asked) -> tuple[int, str, str]:
    """All that an answer tells, but for the id that it repeats, and one that is new each time."""
    to = ID.sub("", answer.headers.get("Location", ""))
    said = re.sub(r"\s+", " ", words_of(answer))
    return answer.status_code, to, said.replace(asked.id, "")


def _digests(ground: Ground) -> dict[str, Any]:
    """All that others have, in every table."""
    found = {}
    asked = sql.SQL(
        "select count(*), md5(string_agg(t::text, '' order by t::text)) from {} t where {}"
    )
    own = {"coop": ground.shop.actor.coop_id, "maker": ground.shop.actor.maker_id}
    with psycopg.connect(ground.url) as admin:
        for model in marking.walled():
            private = "maker" in {one.name for one in model._meta.fields}
            of_maker = " or maker_id <> %(maker)s" if private else ""
            others = sql.SQL(f"coop_id <> %(coop)s{of_maker}")
            table = model._meta.db_table
            question = asked.format(sql.Identifier(table), others)
            found[table] = admin.execute(question, own).fetchone()
    return found


def all_of(answer: Any) -> str:
    """All that is in an answer; of a file, all its cells."""
    kind = answer.headers.get("Content-Type", "")
    if "spreadsheet" in kind:
        book = openpyxl.load_workbook(io.BytesIO(answer.content), read_only=True)
        cells = (row for sheet in book for row in sheet.iter_rows(values_only=True))
        return "\n".join(str(cell) for row in cells for cell in row)
    text = answer.content.decode() if kind.startswith("text/") else ""
    return unescape(text) if "html" in kind else text


def words_of(answer: Any) -> str:
    """What a reader of an answer reads."""
    if "html" not in answer.headers.get("Content-Type", ""):
        return all_of(answer)
    return unescape(re.sub(r"<[^>]+>", " ", answer.content.decode()))
