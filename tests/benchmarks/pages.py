"""The makers' pages with the demo's data: the server's time for each, beside the bare rendering of
its template with the same facts; how large each is, and how often it asks the database."""

import re
import statistics
import time
from collections.abc import Callable
from typing import Any, Final
from unittest.mock import patch

from django.template.loader import render_to_string
from django.test import Client
from django.utils import timezone

from tests.api.client import sign_in
from tests.benchmarks.bench import Options, analyze
from tests.benchmarks.report import Row
from tests.running import Running

MOST_QUERIES, MOST_BYTES = 15, 60_000
TURNS: Final = 4
# Of each kind of page so many are looked at.
OF_EACH: Final = 4


def measure(server: Running, options: Options) -> list[Row]:
    """Every page of the demo's first maker, in this process: no network is in the way."""
    from formulas.demo import loading
    from tests.pages.looking import FILES, ROUTES, route_of

    loading.load(now=timezone.now())
    analyze(server)
    client = _signed_in(server)
    paths = sorted(_paths(client))
    lacking = set(ROUTES) - {route_of(path) for path in paths} - FILES
    rows = [_row(client, path, options.rounds * TURNS) for path in paths]
    return rows + [
        Row(f"page {route}: the demo has nothing of it", "") for route in sorted(lacking)
    ]


def _signed_in(server: Running) -> Client:
    """A browser of the demo's first maker, with the cookie that signing in gives."""
    from formulas.demo import people

    client = Client(SERVER_NAME="localhost")
    token = sign_in(server, next(iter(people.PEOPLE)), people.PASSWORD).made()["token"]
    client.cookies["stillroom"] = token
    return client


def _paths(client: Client) -> list[str]:
    """Every page that following links finds: of each kind the one that asks most, or is largest."""
    from tests.pages.looking import Seen, all_pages, found_by_name

    found: dict[str, Seen] = {}
    for page in all_pages(client, of_each=OF_EACH, also=found_by_name(client)):
        if page.status == 200 and page.text:
            known = found.setdefault(page.route, page)
            if (page.queries, page.size) > (known.queries, known.size):
                found[page.route] = page
    return [page.path for page in found.values()]


def _row(client: Client, path: str, turns: int) -> Row:
    from api.pages import screen
    from tests.pages.looking import looked_at

    with patch.object(screen, "render_to_string", wraps=render_to_string) as rendered:
        seen = looked_at(client, path)
        drawn = rendered.call_args
    ours = _milliseconds(lambda: client.get(path), turns)
    shown = re.sub(r"[0-9a-f-]{36}", "ID", path)
    work = f"page {shown}: {seen.queries} queries, {seen.size / 1000:.1f} kB"
    limit = f"<= {MOST_QUERIES}, {MOST_BYTES // 1000} kB"
    met = seen.queries <= MOST_QUERIES and seen.size <= MOST_BYTES
    if drawn is None:
        return Row(work, f"{ours:.1f} ms", target=limit, met=met)
    template, facts, request = drawn.args
    bare = _milliseconds(lambda: render_to_string(template, facts, request), turns)
    ratio = f"{ours / bare:.1f}"
    return Row(work, f"{ours:.1f} ms", f"{bare:.1f} ms", ratio, limit, met)


def _milliseconds(work: Callable[[], Any], turns: int) -> float:
    """The median of so many turns."""
    took = []
    for _ in range(turns):
        start = time.perf_counter()
        work()
        took.append((time.perf_counter() - start) * 1000)
    return statistics.median(took)
