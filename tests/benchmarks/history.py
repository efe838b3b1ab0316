"""What is asked most must take no longer when there is more history."""

from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal

from tests.benchmarks import load
from tests.benchmarks.bench import Options, Stock, analyze, stocked
from tests.benchmarks.report import Row, in_turn, say
from tests.running import Running

MATERIALS, LOTS_EACH = 50, 2
FEW = 10_000
TARGET = 1.20


def measure(server: Running, options: Options) -> list[Row]:
    """Two makers with the same stock, one of which has moved it a hundred times as often."""
    few, many = (stocked(server, MATERIALS, LOTS_EACH) for _ in range(2))
    say(f"  writing {FEW + options.many_postings} postings …")
    write(few, FEW)
    write(many, options.many_postings)
    analyze(server)
    return [
        _beside(server, options, "GET /lots/{id}, one holding", few, many, _one_lot),
        _beside(server, options, "GET /stock", few, many, lambda stock: "/api/v1/stock?limit=100"),
    ]


def _one_lot(stock: Stock) -> str:
    return f"/api/v1/lots/{stock.lots[0]}"


def _beside(
    server: Running,
    options: Options,
    work: str,
    few: Stock,
    many: Stock,
    path: Callable[[Stock], str],
) -> Row:
    def case(stock: Stock) -> Callable[[], float]:
        return lambda: median_ms(server, stock, path(stock), options)

    cases = {"few": case(few), "many": case(many)}
    for run in cases.values():
        run()
    found = in_turn(cases, options.rounds)
    ratio = found["many"] / found["few"]
    return Row(
        f"{work}: {options.many_postings:,} postings beside {FEW:,}",
        f"{found['many']:.2f} ms",
        f"{found['few']:.2f} ms",
        f"{ratio:.2f}",
        f"<= {TARGET:.2f}",
        ratio <= TARGET,
    )


def median_ms(server: Running, stock: Stock, path: str, options: Options) -> float:
    """The median of one client's answers."""
    wanted = load.request("GET", path, stock.client.token)
    return load.drive(
        server.port, lambda: wanted, connections=1, seconds=options.seconds / 2
    ).median_ms


def write(stock: Stock, postings: int) -> None:
    """Issue a little of every lot, again and again, by real entries."""
    from ledger.access import acting_as
    from ledger.entries import Move, account, post_entry
    from ledger.models import Account, Entry

    actor = stock.actor()
    store = account(actor, Account.Kind.STORE, "store")
    issued = account(actor, Account.Kind.ISSUE, "sample")
    gram = Decimal(1)
    moves = [Move(store, issued, lot, gram) for lot in stock.lots]
    for _ in range(postings // (2 * len(moves))):
        with acting_as(actor):
            post_entry(actor, kind=Entry.Kind.ISSUE, happened_at=datetime.now(UTC), moves=moves)
