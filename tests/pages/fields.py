"""What the pages of a maker can ask for: by their forms, by their links, and by htmx."""

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from typing import Final
from urllib.parse import parse_qsl, urljoin

from tests.pages.looking import Seen, route_of

ID: Final = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
# What is typed into fields that came empty, so that a form is not refused before its ids are read.
DAY, MOMENT, MAIL = "2025-05-07", "2025-05-07T10:00", "orders@example.org"
BY_TYPE: Final = {"date": DAY, "datetime-local": MOMENT, "email": MAIL}
FIGURE, TEXT = "1", "1 g"
# What tells two requests to the same address apart, beside the names of their fields.
TELLS_APART: Final = {"do", "as", "table"}


def taken_by(has: Mapping[str, str]) -> str:
    """What an input takes, if it is a figure or a day: what a quantity is typed into says no mode,
    but wants no capital."""
    kind, mode = has.get("type", "text"), has.get("inputmode", "")
    if kind in {"date", "datetime-local"}:
        return "day"
    if mode in {"decimal", "numeric"}:
        return "figure"
    return "quantity" if kind == "text" and has.get("autocapitalize") == "none" else ""


@dataclass
class Form:
    """A form of a page: where it goes, what it sends as it stands, and what it may send."""

    to: str
    method: str
    sends: list[tuple[str, str]] = field(default_factory=list)
    may_send: list[tuple[str, str]] = field(default_factory=list)
    typed: dict[str, str] = field(default_factory=dict)
    # What is typed by hand, whatever stands in it; what of it takes words; and what takes a file.
    by_hand: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    files: list[str] = field(default_factory=list)
    # What takes a figure, with or without its unit, or a day, and which of them.
    takes: dict[str, str] = field(default_factory=dict)
    buttons: list[tuple[str, str]] = field(default_factory=list)
    # Where htmx sends it, and what it sends along.
    looks: list[tuple[str, dict[str, str]]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Asked:
    """A request that a page can make, with an id in the field `name`, or without one in its path.

    In the fields that came empty stands what is `typed`.
    """

    to: str
    method: str
    sends: tuple[tuple[str, str], ...]
    name: str
    id: str
    htmx: bool
    typed: Mapping[str, str] = field(default_factory=dict, compare=False)

    @property
    def kind(self) -> tuple[str, ...]:
        """The same for requests that differ in nothing but which rows they are about."""
        bare = re.sub(r"\d+", "0", ID.sub("*", self.name))
        told = [f"{name}={value}" for name, value in self.sends if name in TELLS_APART]
        return (route_of(self.to), self.method, "htmx" if self.htmx else "", bare, *told)

    def about(self, id: str) -> "Asked":
        """The same with another id in that place; wherever else it stands it stays."""
        if not self.name:
            return replace(self, to=self.to.replace(self.id, id), id=id)
        sends = [
            (name.replace(self.id, id), value.replace(self.id, id))
            if name == self.name
            else (name, value)
            for name, value in self.sends
        ]
        return replace(self, sends=tuple(sends), name=self.name.replace(self.id, id), id=id)


class Reader(HTMLParser):
    """The forms of a page, and the addresses that it leads to."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.page = page
        self.forms: list[Form] = []
        self.links: list[str] = []
        self.fetched: list[str] = []
        self.inside = False
        self.select = ""

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        if "href" in has:
            self.links.append(self._whole(has["href"]))
        if "hx-get" in has:
            self.fetched.append(self._whole(has["hx-get"]))
        if tag == "form":
            method = has.get("method", "get")
            to = self._whole(has.get("action") or self.page)
            # Of a form that asks, its fields alone are the query.
            self.forms.append(Form(to.partition("?")[0] if method == "get" else to, method))
            self.inside = True
        if self.inside:
            self._in_form(self.forms[-1], tag, has)

    def handle_endtag(self, tag: str) -> None:
        self.inside = self.inside and tag != "form"

    def _whole(self, address: str) -> str:
        return urljoin(self.page, address).partition("#")[0]

    def _in_form(self, form: Form, tag: str, has: Mapping[str, str]) -> None:
        name, value, kind = has.get("name", ""), has.get("value", ""), has.get("type", "text")
        if "hx-post" in has:
            form.looks.append((self._whole(has["hx-post"]), json.loads(has.get("hx-vals", "{}"))))
        if tag == "select":
            self.select = name
        elif tag == "option":
            self._field(form, self.select, value, stands="selected" in has)
        elif tag == "textarea":
            form.typed[name] = TEXT
            form.by_hand.append(name)
            form.words.append(name)
        elif tag == "button" and name:
            form.buttons.append((name, value))
        elif tag == "input" and kind == "file":
            form.files.append(name)
        elif tag == "input":
            chosen = kind in {"radio", "checkbox"}
            self._field(form, name, value, stands=not chosen or "checked" in has)
            if not chosen and kind != "hidden":
                self._by_hand(form, name, value, kind, has.get("inputmode", ""))
                if taken := taken_by(has):
                    form.takes[name] = taken

    def _by_hand(self, form: Form, name: str, value: str, kind: str, mode: str) -> None:
        figure = mode in {"decimal", "numeric"}
        form.by_hand.append(name)
        if not figure and kind in {"text", "search"}:
            form.words.append(name)
        if not value:
            form.typed[name] = BY_TYPE.get(kind, FIGURE if figure else TEXT)

    def _field(self, form: Form, name: str, value: str, *, stands: bool) -> None:
        form.may_send.append((name, value))
        if stands:
            form.sends.append((name, value))


def read(seen: Seen) -> Reader:
    reader = Reader(seen.path)
    reader.feed(seen.text)
    return reader


def asked_by(pages: Iterable[Reader]) -> Iterator[Asked]:
    """Every request with an id in its path, its query or a field, that these pages can make.

    In a path it is that of a form, a file or a part of a page: pages are looked at by themselves.
    """
    for page in pages:
        for form in page.forms:
            yield from _by_form(form)
        for htmx, addresses in ((False, page.links), (True, page.fetched)):
            for address in addresses:
                yield from _by_address(address, htmx=htmx)


def _by_form(form: Form) -> Iterator[Asked]:
    ways = [(form.to, [one], False) for one in form.buttons] or [(form.to, [], False)]
    ways += [(to, list(along.items()), True) for to, along in form.looks]
    for to, along, htmx in ways:
        for id in ID.findall(to.partition("?")[0]):
            yield Asked(to, form.method, (*form.sends, *along), "", id, htmx, form.typed)
        for name, value in form.may_send:
            for id in ID.findall(f"{name} {value}"):
                rest = [one for one in form.sends if one[0] != name]
                sends = (*rest, (name, value), *along)
                yield Asked(to, form.method, sends, name, id, htmx, form.typed)


def _by_address(address: str, *, htmx: bool) -> Iterator[Asked]:
    to, _, query = address.partition("?")
    sends = tuple(parse_qsl(query, keep_blank_values=True))
    if htmx or "as" in dict(sends):
        for id in ID.findall(to):
            yield Asked(to, "get", sends, "", id, htmx)
    for name, value in sends:
        for id in ID.findall(f"{name} {value}"):
            yield Asked(to, "get", sends, name, id, htmx)


def files_of(pages: Iterable[Reader]) -> dict[tuple[object, ...], str]:
    """The address of a file of each table, as CSV and as XLSX."""
    found: dict[tuple[object, ...], str] = {}
    for page in pages:
        for address in page.links:
            to, _, query = address.partition("?")
            asks = dict(parse_qsl(query))
            if "as" in asks and route_of(to):
                found.setdefault((route_of(to), asks["as"], asks.get("table")), address)
    return found


def searches(pages: Iterable[Reader]) -> dict[str, str]:
    """The fields into which something is typed to look for it, by the address that is asked."""
    return {
        form.to: name
        for page in pages
        for form in page.forms
        if form.method == "get"
        for name, typed in form.typed.items()
        if typed == TEXT
    }
