"""The walls of the pages, tried from outside as those of the API are; and what every page keeps to.

The list of pages is the application's own, so that a new page is tried like the others.
"""

import re
import uuid
from html import escape, unescape
from urllib.parse import urlencode

import pytest

from api.pages.urls import urlpatterns
from tests.api.client import Answer
from tests.test_walls_http import (
    OF_PATH,
    Maker,
    assert_shows_only,
    foreign_to,
    makers,
    unpacked,
)

__all__ = ["makers"]
TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="([^"]+)"')
FORM_KEY = re.compile(r'name="form_key" value="[^"]+"')


# It is packed, and no page.
COPY = "/books/copy"


def pages(*, of_one: bool) -> list[str]:
    """The addresses of the pages, of one thing or of all."""
    routes = [str(one.pattern) for one in urlpatterns]
    return sorted(f"/{route}" for route in routes if ("<" in route) == of_one)


def page_kind(route: str) -> str:
    return OF_PATH[route.split("/")[1]]


def look(one: Maker, path: str, method: str = "GET", **typed: str) -> Answer:
    """A page, or a form that was sent, as the maker's own browser asks for it."""
    cookies = f"stillroom={one.client.token}"
    if method == "GET":
        return one.client.raw("GET", path, None, {"Cookie": cookies})
    shown = one.client.raw("GET", "/look", None, {"Cookie": cookies})
    given = str(shown.headers["Set-Cookie"]).split(";")[0]
    (token,) = TOKEN.findall(shown.raw.decode())[:1]
    fields = {**typed, "csrfmiddlewaretoken": token}
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    body = urlencode({"form_key": str(uuid.uuid4()), **fields}).encode()
    return one.client.raw(method, path, body, {"Cookie": f"{cookies}; {given}", **kind})


def settled_page(answer: Answer) -> str:
    """A page without the tokens that are new each time."""
    return FORM_KEY.sub("", TOKEN.sub("", answer.raw.decode()))


@pytest.mark.parametrize("route", pages(of_one=True))
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_anothers_id_in_the_address_of_a_page_is_not_there(
    makers: list[Maker], route: str, method: str
) -> None:
    one = makers[0]

    def asked(id: str) -> Answer:
        return look(one, route.replace("<uuid:id>", id), method)

    nowhere = asked(str(uuid.uuid4()))
    assert nowhere.status in {404, 405, 422}, nowhere.raw
    tried = 0
    for id in foreign_to(one, makers, page_kind(route)):
        answer = asked(id)
        assert answer.status == nowhere.status
        assert settled_page(answer).replace(id, "") == settled_page(nowhere).replace(
            nowhere_id(nowhere), ""
        )
        tried += 1
    assert tried >= 2
    if method == "GET":
        assert nowhere.status == 404
        assert asked(one.has.ids[page_kind(route)][0]).status == 200


def nowhere_id(answer: Answer) -> str:
    """The id that a page repeats, if it repeats one."""
    found = re.search(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", answer.raw.decode())
    return found[0] if found else " no id "


def test_pages_show_nothing_of_others_and_markup_as_text(makers: list[Maker]) -> None:
    one = makers[0]
    seen = {path: look(one, path) for path in own_pages(one)}
    own = [path for path, answer in seen.items() if escape(one.secret) in answer.raw.decode()]
    assert len(own) >= 10, own
    for path, answer in seen.items():
        said = answer.raw.decode()
        # The address of signing out only leads on.
        assert answer.status == (303 if path == "/sign-out" else 200), f"{path}: {answer.status}"
        assert_shows_only(unescape(said), one, makers)
        # A file is given back as it came, to be kept and not to be opened in place.
        if not path.startswith("/documents/"):
            assert "<i>" not in said, path
        assert_frugal(path, answer)


def own_pages(one: Maker) -> list[str]:
    """Every page, of each thing that the maker has."""
    of_one = [
        route.replace("<uuid:id>", id)
        for route in pages(of_one=True)
        for id in one.has.ids[page_kind(route)]
    ]
    return [*(path for path in pages(of_one=False) if path != COPY), *of_one]


def test_a_copy_from_its_page_has_no_word_of_another(makers: list[Maker]) -> None:
    one = makers[0]
    text = unpacked(look(one, COPY))
    assert one.secret in text
    assert not [other.secret for other in makers[1:] if other.secret in text]


def assert_frugal(path: str, answer: Answer) -> None:
    """Small, kept by no cache, and with nothing that the policy would have to allow inline."""
    assert str(answer.headers["Cache-Control"]) == "no-store"
    assert len(answer.raw) <= 60_000, f"{path}: {len(answer.raw)}"
    assert_nothing_inline(path, answer.raw.decode(), str(answer.headers["Content-Security-Policy"]))


def assert_nothing_inline(path: str, said: str, policy: str) -> None:
    """Nothing in a page is run or drawn but what comes from files; a sheet has its own styles."""
    assert "unsafe-inline" not in policy
    assert "unsafe-eval" not in policy
    inline = r"<style|\sstyle=|<script(?![^>]* src=)|\son\w+=|javascript:"
    assert path.endswith(("/label", "/sheet")) or not re.search(inline, said), path


def test_the_first_page_is_small_with_all_that_it_loads(makers: list[Maker]) -> None:
    one = makers[0]
    page = look(one, "/")
    loaded = re.findall(r'(?:src|href)="(/static/[^"]+)"', page.raw.decode())
    assert len(loaded) == 6
    files = [one.client.raw("GET", unescape(path)) for path in loaded]
    assert {file.status for file in files} == {200}
    assert all("immutable" in str(file.headers["Cache-Control"]) for file in files)
    # Unpacked; a browser gets a third of it.
    assert len(page.raw) + sum(len(file.raw) for file in files) <= 150_000


def test_a_form_without_its_token_does_nothing(makers: list[Maker]) -> None:
    one = makers[0]
    for path in own_pages(one):
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        cookies = {"Cookie": f"stillroom={one.client.token}"}
        answer = one.client.raw("POST", path, b"do=weigh&form_key=x", {**kind, **cookies})
        assert answer.status == 403, path
        assert "not sent from its own page" in answer.raw.decode()
