"""Every page that a maker can come to, looked at in this process: what it asks, and how large."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Final

from django.db import connection, reset_queries
from django.test import Client
from django.test.utils import CaptureQueriesContext

from api.pages.urls import urlpatterns

# The addresses are the application's own, so that a new page is looked at like the others.
ROUTES: Final = {f"/{one.pattern}": one for one in urlpatterns if str(one.pattern) != "sign-out"}
PATTERNS: Final = {
    route: re.compile(route.replace("<uuid:id>", "[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}"))
    for route in ROUTES
}
# What is given out at these is a file.
FILES: Final = {
    one for one in ROUTES if one.endswith(("/example", "/copy")) or one.startswith("/documents/")
}
# What is asked table by table, however many there are.
WHOLE: Final = {"/books/copy"}
LINK: Final = re.compile(r'(?:href|hx-get)="((?:/|\?)[^"#]*)')
# What a page shows only if it is asked.
SOON: Final = f"until={datetime.now(UTC).date() + timedelta(days=9)}"
ASKED: Final = (f"/order/plan?{SOON}", "/settlement/statement?month=2025-05", "/lots?gone=on")
# So many are found by a name, as a maker finds them: water, what was made, a drum drawn off.
NAMED: Final = (
    ("/materials?q=water", 1),
    ("/lots?q=glycerite&gone=on", 1),
    ("/lots?q=decyl&gone=on", 3),
)


@dataclass(frozen=True, slots=True)
class Seen:
    """A page at an address: how often it asked the database, what it says, and what it weighs.

    `policy` is what it lets a browser load and run.
    """

    path: str
    route: str
    queries: int
    status: int
    size: int
    text: str
    policy: str


def looked_at(client: Client, path: str) -> Seen:
    # Of a long log the earliest are dropped, and what is dropped would not be counted.
    reset_queries()
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(path)
    # What opens and ends the one transaction asks for nothing.
    asked = [one for one in queries.captured_queries if one["sql"] not in ("BEGIN", "COMMIT")]
    page = "html" in answer["Content-Type"]
    text = answer.content.decode() if page else ""
    size = len(answer.content) if page else 0
    policy = answer.headers.get("Content-Security-Policy", "")
    return Seen(path, route_of(path), len(asked), answer.status_code, size, text, policy)


def found_by_name(client: Client) -> list[str]:
    """Things of the demo that have a page which most others of their kind lack."""
    found = []
    for path, first in NAMED:
        links = dict.fromkeys(LINK.findall(looked_at(client, path).text))
        found += [link for link in links if "<" in route_of(link)][:first]
    # Where a formula is scaled, what it needs leads there.
    return [*found, f"{found[0]}/free"]


def route_of(path: str) -> str:
    """The address of a page without its ids; nothing for what is no page."""
    bare = path.partition("?")[0]
    return next((route for route, one in PATTERNS.items() if one.fullmatch(bare)), "")


def slow(seen: Iterable[Seen], most: int) -> list[tuple[str, int]]:
    """The pages that ask more than so often."""
    asked = [one for one in seen if one.route not in WHOLE]
    return [(one.path, one.queries) for one in asked if one.queries > most]


def all_pages(client: Client, *, of_each: int, also: Iterable[str] = ()) -> Iterator[Seen]:
    """Every page that needs no id, and what links lead to from there: so many of a kind at most."""
    waiting = [*(route for route in ROUTES if "<" not in route), *ASKED, *also]
    known, count = set(waiting), Counter[str]()
    for path in waiting:
        route = route_of(path)
        count[route] += 1
        if not route or count[route] > of_each:
            continue
        seen = looked_at(client, path)
        yield seen
        for link in map(unescape, LINK.findall(seen.text)):
            to = link if link.startswith("/") else path.partition("?")[0] + link
            if to not in known and "as=" not in to:
                known.add(to)
                waiting.append(to)
