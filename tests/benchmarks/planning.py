"""Planning a batch of forty lines over HTTP, where there are thousands of lots to pour from."""

import statistics
import time

from tests.benchmarks import round_trips
from tests.benchmarks.bench import Options, stocked, today
from tests.benchmarks.report import Row
from tests.running import Running

LINES, LOTS_EACH = 40, 125
MOST_QUERIES = 10
# A savepoint, its release and the commit go to the database as well, and ask nothing.
TURNS = 3
TIMES = 15


def measure(server: Running, options: Options) -> list[Row]:
    """How often a plan asks the database, and how long it takes; each line takes three lots."""
    stock = stocked(server, LINES, LOTS_EACH, watched=True)
    lines = [{"material": str(one), "percent": "2.5"} for one in stock.materials]
    body = {"name": "Of forty", "phases": [{"name": "A", "lines": lines}]}
    formula = stock.client.post("formulas", body).made()["id"]
    # A lot has 10 t, and a line wants 25 t.
    wanted = {"formula": formula, "batch": "1000000 kg", "planned_for": str(today())}
    planned = stock.client.post("batches", wanted).made()
    if not all(len(line["picks"]) == 3 for line in planned["lines"]):
        raise AssertionError("A line takes three lots.")
    trips = round_trips.of_posts(server, stock, [("/api/v1/batches", wanted)] * 5)[3:]
    asked = max(trips) - TURNS
    took = []
    for _ in range(TIMES):
        start = time.perf_counter()
        stock.client.post("batches", wanted).made()
        took.append(time.perf_counter() - start)
    return [
        Row(
            f"POST /batches, {LINES} lines over {LINES * LOTS_EACH:,} lots: queries",
            str(asked),
            target=f"<= {MOST_QUERIES}",
            met=asked <= MOST_QUERIES,
        ),
        Row("  its time, one after the other", f"median {statistics.median(took) * 1000:.0f} ms"),
    ]
