"""A page of a hundred lots, beside the same rows by Django REST framework out of the box."""

from tests.benchmarks import load
from tests.benchmarks.bench import Options, stocked
from tests.benchmarks.report import Row, in_turn
from tests.running import Running

CONNECTIONS = 8
# Some years of a maker's lots.
MATERIALS, LOTS_EACH = 500, 20
TARGET = 4.0


def measure(server: Running, options: Options) -> list[Row]:
    """Both answered by the same server to the same token."""
    token = stocked(server, MATERIALS, LOTS_EACH).client.token

    def rate(path: str) -> float:
        wanted = load.request("GET", path, token)
        return load.drive(
            server.port, lambda: wanted, connections=CONNECTIONS, seconds=options.seconds
        ).per_second

    paths = {"ours": "/api/v1/lots?limit=100", "plain": "/plain/lots"}
    for path in paths.values():
        rate(path)
    found = in_turn(
        {name: lambda path=path: rate(path) for name, path in paths.items()},  # type: ignore[misc]
        options.rounds,
    )
    ratio = found["ours"] / found["plain"]
    return [
        Row(
            f"GET /lots?limit=100, {CONNECTIONS} connections",
            f"{found['ours']:.0f}/s",
            f"{found['plain']:.0f}/s",
            f"{ratio:.1f}",
            f">= {TARGET:.0f}",
            ratio >= TARGET,
        )
    ]
