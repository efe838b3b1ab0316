"""The forms of a page as a browser sends them, each undone again once it was answered."""

import copy
import re
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Final
from urllib.parse import urlencode

from django.db import transaction
from django.test import Client

from tests.pages.fields import ID, Form
from tests.pages.looking import route_of

TRIES: Final = 4
WRONG: Final = re.compile(r'class="errorlist[^"]*" id="id_([^"]+)_error"')
# What is typed where no figure and no word will do.
LIKELY: Final = {
    **{"material": "Sunflower oil 0", "beside": "Sunflower oil 0", "name": "Sunflower oil 0"},
    **{"lot": "NB1", "packaging": "Jar 0", "density": "0.9 g/mL", "at": "20 degC"},
}


@dataclass(frozen=True, slots=True)
class Way:
    """One way to send a form of a page: by one of its buttons, or as htmx does while one types."""

    to: str
    method: str
    sends: Mapping[str, list[str]]
    by_hand: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    # What takes a number, a quantity with its unit, a day, a moment.
    takes: Mapping[str, str] = field(default_factory=dict)
    htmx: bool = False
    typed: Mapping[str, str] = field(default_factory=dict)
    # What can be chosen where nothing is, the first of each.
    chosen: Mapping[str, str] = field(default_factory=dict)

    @property
    def kind(self) -> tuple[object, ...]:
        """The same for what differs in nothing but which rows it is about."""
        names = {re.sub(r"\d+", "0", ID.sub("*", name)) for name in (*self.sends, *self.by_hand)}
        does = tuple(self.sends.get("do", ()))
        return route_of(self.to), self.method, self.htmx, does, tuple(sorted(names))

    def told(self, **fields: str) -> dict[str, Any]:
        """All that it sends, with something typed into some fields."""
        return {**self.typed, **self.sends, **fields}


def ways_of(form: Form) -> Iterator[Way]:
    sends: dict[str, list[str]] = {}
    for name, value in form.sends:
        sends.setdefault(name, []).append(value)
    empty = {name: text for name, text in form.typed.items() if not any(sends.get(name, ()))}
    whole = {name: value for name, value in sends.items() if name not in empty}
    chosen: dict[str, str] = {}
    for name, value in form.may_send:
        if value and name not in form.by_hand and not any(sends.get(name, ())):
            chosen.setdefault(name, value)
    about: dict[str, Any] = {"typed": empty, "chosen": chosen, "takes": form.takes}
    told = (tuple(form.by_hand), tuple(form.words), tuple(form.files))
    for name, value in form.buttons or [("", "")]:
        pressed = {name: [value]} if name else {}
        yield Way(form.to, form.method, {**whole, **pressed}, *told, **about)
    # Where htmx looks while one types, the whole form is sent along.
    for to, along in form.looks:
        looked = {name: [value] for name, value in along.items()}
        yield Way(to, "post", {**whole, **looked}, *told, htmx=True, **about)


@contextmanager
def undone() -> Iterator[None]:
    """Nothing of what is done within is kept."""
    whole = transaction.atomic()
    # What opens the one transaction of a request is told that it is within a test.
    whole._from_testcase = True  # type: ignore[attr-defined]
    with whole:
        yield
        transaction.set_rollback(True)


def answers(client: Client, way: Way, fields: Mapping[str, Any]) -> list[Any]:
    """What a form is answered, and the page that it leads to once it is done."""
    htmx = {"HX-Request": "true"} if way.htmx else {}
    kept = copy.deepcopy(client.cookies)
    with undone():
        if way.method == "get":
            first = client.get(f"{way.to}?{urlencode(fields, doseq=True)}", headers=htmx)
        else:
            key = {"form_key": uuid.uuid4().hex}
            first = client.post(way.to, {**fields, **key}, headers=htmx)
        leads = first.headers.get("Location", "") if first.status_code == 303 else ""
        found = [first, client.get(leads)] if leads.startswith("/") else [first]
    # Whoever signs out, or goes to another maker, is back.
    client.cookies = kept
    return found


def filled_in(client: Client, way: Way) -> tuple[dict[str, Any], list[Any]]:
    """A form with something in each field that it asks for, and what it is answered then.

    Until nothing is missing in it any more, or nothing comes to mind.
    """
    fields: dict[str, Any] = {**way.sends, **way.chosen}
    for _ in range(TRIES):
        found = answers(client, way, fields)
        # Where it is not said which, all that is empty is filled in.
        asks = WRONG.findall(found[0].content.decode()) or [*way.typed]
        wrong = {name: likely(way, name) for name in asks}
        if found[0].status_code != 422 or all(fields.get(name) == wrong[name] for name in wrong):
            break
        fields |= wrong
    return fields, found


def likely(way: Way, name: str) -> str:
    """What goes into an empty field."""
    return LIKELY.get(name.rpartition("-")[2]) or way.typed.get(name, "1")
