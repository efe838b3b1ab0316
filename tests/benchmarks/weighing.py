"""A whole weighing over HTTP: how often it goes to the database, and how long it takes."""

import itertools
import json
import uuid
from typing import Any

from tests.benchmarks import load, round_trips
from tests.benchmarks.bench import Options, Stock, stocked, today
from tests.benchmarks.report import Row
from tests.running import Running

BATCHES = 16
MOST_ROUND_TRIPS = 12


def measure(server: Running, options: Options) -> list[Row]:
    """Requests per second and the slowest hundredth, with one client and with eight."""
    stock = stocked(server, materials=20, watched=True)
    formula = _formula(stock)
    places = [place for _ in range(BATCHES) for place in _planned(stock, formula)]
    turns = itertools.cycle(places)
    rows = []
    first = _round_trips(server, stock, places[:10])
    for clients in (1, 8):
        found = load.drive(
            server.port,
            lambda: _weighing(stock, next(turns)),
            connections=clients,
            seconds=options.seconds * 2,
        )
        rows.append(
            Row(
                f"POST /batches/{{id}}/weighings, {clients} client{'s' if clients > 1 else ''}",
                f"{found.per_second:.0f}/s, median {found.median_ms:.1f} ms,"
                f" p99 {found.p99_ms:.1f} ms",
            )
        )
    later = _round_trips(server, stock, places[:10])
    trips = Row(
        "  its round trips to the database",
        str(later),
        target=f"<= {MOST_ROUND_TRIPS}, as at first ({first})",
        met=later <= MOST_ROUND_TRIPS and later <= first,
    )
    return [trips, *rows]


Place = tuple[str, dict[str, Any]]


def _formula(stock: Stock) -> str:
    """A formula of ten materials; its id."""
    lines = [{"material": str(material), "percent": "10"} for material in stock.materials[:10]]
    body = {"name": "Hand balm", "phases": [{"name": "A", "lines": lines}]}
    return str(stock.client.post("formulas", body).made()["id"])


def _planned(stock: Stock, formula: str) -> list[Place]:
    """A planned batch, as the places where a weighing may go: path and body but for the key."""
    wanted = {"formula": formula, "batch": "10 kg", "planned_for": str(today())}
    batch = stock.client.post("batches", wanted).made()
    return [
        (
            f"/api/v1/batches/{batch['id']}/weighings",
            {"line": line["id"], "lot": line["picks"][0]["lot"], "quantity": "0.01 g"},
        )
        for line in batch["lines"]
    ]


def _weighing(stock: Stock, place: Place) -> bytes:
    path, body = place
    key = str(uuid.uuid4())
    return load.request(
        "POST", path, stock.client.token, json.dumps(body).encode(), Idempotency_Key=key
    )


def _round_trips(server: Running, stock: Stock, places: list[Place]) -> int:
    """The most round trips that one of a few weighings needs, on a connection that is warm."""
    # The first ones open the connection and prepare the statements.
    return max(round_trips.of_posts(server, stock, places)[3:])
