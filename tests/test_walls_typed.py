"""What is typed into any field of any page is shown again as text; so is a made-up address.

The forms and the addresses are those that the pages of a workshop show. Each request is undone, so
that all are made of the same ground, and each form is found as it was read.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import parse_qsl, quote, urlencode

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.test.utils import override_settings

from api import rate
from api.list_kinds import KINDS
from tests.api.files import pdf
from tests.factories import open_workshop
from tests.filling import fill
from tests.pages.browsing import signed_in
from tests.pages.codes import bare_codes
from tests.pages.fields import ID, Reader, read
from tests.pages.looking import ASKED, Seen, all_pages, route_of
from tests.pages.shops import planned_ahead, work
from tests.pages.test_queries import pages_of
from tests.pages.ways import Way, answers, filled_in, ways_of
from tests.test_walls_pages import assert_nothing_inline
from tests.test_walls_texts import Texts

MARK: Final = "<b id=typed>&\"'"
# The name of a file stands in quotation marks on its way here, and a comma ends a column.
NAME: Final = "<b id=typed>&'"
FILES: Final = {
    (f"{NAME}.csv", "text/csv"): f"{NAME},material,ingredient\n{NAME},{NAME},{NAME}\n".encode(),
    (f"{NAME}.pdf", "application/pdf"): pdf(),
}
# What a page never says again; and what says by itself which form it is.
UNSAID: Final = {"password", "old", "again"}
OF_THE_FORM: Final = {"form_key", "csrfmiddlewaretoken", "do"}
# What nobody means, by what a field takes: in one field alone, and in all at once.
ONE_BY_ONE: Final = {
    "figure": ("0",),
    "quantity": ("0 g",),
    "day": ("1900-01-01",),
}
TOGETHER: Final = {
    "figure": ("99999999999", "0.0000001", "-1", "1e5", "abc"),
    "quantity": ("99999999999 kg", "0.0000001 g", "99999999999 each", "1e5 g", "abc"),
    "day": ("1900-01-01T10:00", "9999-12-31T23:59", "9999-12-31", "0000-00-00", "abc"),
}
# A fold that is closed, and something wrong in it.
CLOSED_ON_WRONG: Final = re.compile(
    r'<details\b(?![^>]*\sopen\b)[^>]*>(?:(?!</?details).)*class="errorlist', re.DOTALL
)


@dataclass(frozen=True)
class Ground:
    """The pages of a maker, and how their forms are sent."""

    client: Client
    pages: list[Seen]
    readers: list[Reader]
    ways: list[Way]


@pytest.fixture(scope="module")
def ground(database: Any, redis_server: Any) -> Iterator[Ground]:
    shop = open_workshop("North Bench")
    ids = work(shop, 0)
    planned_ahead(shop, 0)
    fill(shop)
    client = signed_in(shop)
    with override_settings(RATE_PER_MINUTE=1_000_000):
        rate.limit.cache_clear()
        pages = list(all_pages(client, of_each=1, also=[*ASKED, *pages_of(ids)]))
        readers = [*map(read, pages)]
        ways = {way.kind: way for one in readers for form in one.forms for way in ways_of(form)}
        yield Ground(client, pages, readers, [*ways.values()])
    rate.limit.cache_clear()


def assert_is_text(what: object, answer: Any) -> bool:
    """Nothing that was typed is an element of the page; whether it is said at all."""
    assert answer.status_code < 500, what
    if "html" not in answer.headers.get("Content-Type", ""):
        return False
    said = answer.content.decode()
    page = Texts(said)
    assert "typed" not in page.ids, what
    assert "&amp;lt;b" not in said, what
    assert bare_codes(said) == [], what
    assert_nothing_inline(
        answer.request["PATH_INFO"], said, answer.headers.get("Content-Security-Policy", "")
    )
    return any("<b id=typed>" in text for text in page.texts)


def test_markup_that_is_typed_is_text(ground: Ground) -> None:
    """In each field that is written by hand, and in all at once, whatever they are."""
    said = 0
    for way in ground.ways:
        hand = {name: MARK for name in way.by_hand}
        every = {name: MARK for name in (*way.sends, *way.by_hand) if name not in OF_THE_FORM}
        for fields in (hand, every):
            for answer in answers(ground.client, way, way.told(**fields)):
                said += assert_is_text((way, fields), answer)
    assert said >= 100, said


def absurd(way: Way) -> Iterator[dict[str, str]]:
    """Nothing in each field in turn, and far too much and worse in all of its kind at once."""
    once: set[str] = set()
    for name, kind in way.takes.items():
        bare = re.sub(r"\d+", "0", ID.sub("*", name))
        if bare not in once:
            yield from ({name: value} for value in ONE_BY_ONE[kind])
        once.add(bare)
    for place in range(len(TOGETHER["figure"])):
        if way.takes:
            yield {name: TOGETHER[kind][place] for name, kind in way.takes.items()}


def test_no_figure_and_no_day_breaks_a_page(ground: Ground) -> None:
    """In forms that are filled in until they would be kept; and no fold hides what is wrong."""
    broken, asked, hidden, kept = set(), 0, set(), 0
    for way in ground.ways:
        if way.method == "get" or not way.takes:
            continue
        fields, found = filled_in(ground.client, way)
        kept += found[0].status_code == 303
        for typed in absurd(way):
            asked += 1
            try:
                found = answers(ground.client, way, {**fields, **typed})
            except Exception as error:
                found = []
                broken.add((*way.kind[:4], str(typed)[:80], str(error).splitlines()[0]))
            for one in found:
                if one.status_code >= 500:
                    broken.add((*way.kind[:4], str(typed)[:80], str(one.status_code)))
                if CLOSED_ON_WRONG.search(one.content.decode(errors="replace")):
                    hidden.add(way.kind[:4])
    assert not broken, "\n".join(map(str, sorted(broken)))
    assert not hidden, hidden
    assert asked >= 300, asked
    assert kept >= 20, kept


def test_a_refused_form_shows_what_was_typed(ground: Ground) -> None:
    lost, shown = [], 0
    for way in ground.ways:
        hand = {name: MARK for name in way.by_hand}
        if way.method == "get" or way.htmx or not hand:
            continue
        answer, *_ = answers(ground.client, way, way.told(**hand))
        if answer.status_code != 422:
            continue
        fields = Fields(answer.content.decode()).values
        shown += 1
        lost += [
            (way.kind[:4], name)
            for name in hand
            if name not in UNSAID and MARK not in fields.get(name, ())
        ]
    assert lost == []
    assert shown >= 50, shown


class Fields(Texts):
    """What stands in each field of a page."""

    def __init__(self, page: str) -> None:
        self.values: dict[str, list[str]] = {}
        self.area = ""
        super().__init__(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        super().handle_starttag(tag, attrs)
        has = dict(attrs)
        self.area = str(has.get("name")) if tag == "textarea" else ""
        if tag == "input":
            self.values.setdefault(str(has.get("name")), []).append(has.get("value") or "")

    def handle_data(self, data: str) -> None:
        super().handle_data(data)
        if self.area:
            self.values.setdefault(self.area, []).append(data.removeprefix("\n"))


def test_the_names_of_a_file_and_of_its_columns_are_text(ground: Ground) -> None:
    ways = [way for way in ground.ways if way.files]
    assert len(ways) >= 4, ways
    said = set()
    for way in ways:
        for (name, kind), content in FILES.items():
            files = {field: SimpleUploadedFile(name, content, kind) for field in way.files}
            for answer in answers(ground.client, way, {**way.told(**way.chosen), **files}):
                if assert_is_text((way, name), answer):
                    said.add((route_of(way.to), name))
    # A column that a list does not have is said again; the name of a paper is kept without signs.
    assert {f"/import/{kind}" for kind in KINDS} <= {route for route, _ in said}, said


def test_an_address_that_is_made_up_is_text(ground: Ground) -> None:
    """Every name of a query, at every page, alone and with all others."""
    links = [link for one in ground.readers for link in (*one.links, *one.fetched)]
    asked: dict[tuple[str, str], str] = {}
    for link in links:
        to, _, query = link.partition("?")
        for name, _ in parse_qsl(query, keep_blank_values=True):
            asked.setdefault((route_of(to), name), to)
    for way in ground.ways:
        for name in way.told() if way.method == "get" else ():
            asked.setdefault((route_of(way.to), name), way.to)
    assert len(asked) >= 100, len(asked)
    for (_, name), to in asked.items():
        path = f"{to}?{urlencode({name: MARK})}"
        assert_is_text(path, ground.client.get(path))
    every = urlencode({name: MARK for _, name in asked})
    pages = {page.route: page.path.partition("?")[0] for page in ground.pages}
    for path in pages.values():
        assert_is_text(path, ground.client.get(f"{path}?{every}"))
        assert_is_text(path, ground.client.get(f"{path}/{quote(MARK)}"))


def test_the_door_shows_who_knocked_as_text(ground: Ground) -> None:
    stranger = Client(SERVER_NAME="localhost")
    told = {"username": MARK, "password": "no such password", "coop": MARK}
    assert assert_is_text("door", stranger.post(f"/sign-in?next={quote(MARK)}", told))
    assert_is_text("door", stranger.get(f"/sign-in?next={quote(MARK)}"))
