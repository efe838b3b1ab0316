"""A 14-line entry over HTTP, beside the same entry posted by the least that could do it."""

import json
import uuid
from uuid import UUID

from tests.benchmarks import load, posting
from tests.benchmarks.bench import Options, Stock, stocked
from tests.benchmarks.report import Row, in_turn, say
from tests.running import Running

CONNECTIONS = 8
TARGET = 0.15


def measure(server: Running, options: Options) -> list[Row]:
    """Seven watched lots issued by one request, with token, walls, key and outbox."""
    stock = stocked(server, watched=True)
    batch = posting.prepare_floors(server, stock)
    seen: list[load.Load] = []

    def ours() -> float:
        found = load.drive(
            server.port,
            lambda: issue(stock, stock.some_lots(posting.MOVES)),
            connections=CONNECTIONS,
            seconds=options.seconds,
        )
        seen.append(found)
        return found.per_second

    ours()
    found = in_turn(
        {
            "ours": ours,
            "floor": lambda: posting.rate(lambda: posting.walled(stock, batch), options.seconds),
        },
        options.rounds,
    )
    say(f"  issue: p99 {seen[-1].p99_ms:.1f} ms")
    ratio = found["ours"] / found["floor"]
    return [
        Row(
            f"POST /issues, 14 lines, {CONNECTIONS} connections",
            f"{found['ours']:.0f}/s",
            f"{found['floor']:.0f}/s",
            f"{ratio:.2f}",
            f">= {TARGET:.2f}",
            ratio >= TARGET,
        )
    ]


def issue(stock: Stock, lots: list[UUID]) -> bytes:
    """The request that issues a little of each lot."""
    lines = [{"lot": str(lot), "quantity": f"{posting.grams()} g"} for lot in lots]
    body = {"lines": lines, "purpose": "sample", "reason": "a measurement"}
    return load.request(
        "POST",
        "/api/v1/issues",
        stock.client.token,
        json.dumps(body).encode(),
        Idempotency_Key=str(uuid.uuid4()),
    )
