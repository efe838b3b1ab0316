"""Posting a 14-line entry: seven lots from the store into a batch, by four clients at once."""

import multiprocessing
import os
import random
import time
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from uuid import UUID

import psycopg

from tests.benchmarks.bench import Options, Stock, analyze, as_superuser, stocked
from tests.benchmarks.report import Row, in_turn
from tests.running import Running

MOVES, CLIENTS, BARE_LOTS = 7, 4, 1000
TARGET = 0.80
# What else runs on a machine comes and goes within seconds: many short turns, so that it falls on
# all alike.
TURNS = 4
WALLS = "select set_config('app.coop', %s, true), set_config('app.maker', %s, true)"
FLOOR = "select floor.post(%s, %s, %s, %s, %s, %s, %s, %s)"
BARE = "select bare.post(%s, %s, %s::int[], %s)"
_fork = multiprocessing.get_context("fork")
Post = Callable[[], object]


def measure(server: Running, options: Options) -> list[Row]:
    """Ours through Django beside a function of its own, each in a transaction inside the walls."""
    stock = stocked(server)
    batch = prepare_floors(server, stock)
    turn = options.seconds / TURNS
    cases = {
        "ours": lambda: rate(lambda: _ours(stock, batch), turn),
        "floor": lambda: rate(lambda: walled(stock, batch), turn),
        "bare": lambda: rate(bare, turn),
    }
    found = in_turn(cases, options.rounds * TURNS)
    _must_agree(stock)
    ratio = found["ours"] / found["floor"]
    ours = f"{found['ours']:.0f}/s"
    return [
        Row(
            "post_entry, 14 lines, 4 clients",
            ours,
            f"{found['floor']:.0f}/s",
            f"{ratio:.2f}",
            f">= {TARGET:.2f}",
            ratio >= TARGET,
        ),
        Row(
            "  beside tables without co-ops and walls",
            ours,
            f"{found['bare']:.0f}/s",
            f"{found['ours'] / found['bare']:.2f}",
        ),
    ]


def prepare_floors(server: Running, stock: Stock) -> UUID:
    """Make the floors, and a batch that has something of every lot; returns its account."""
    from ledger.access import acting_as
    from ledger.entries import Move, account, open_account, post_entry
    from ledger.models import Account, Entry

    with psycopg.connect(as_superuser(server), autocommit=True) as admin:
        admin.execute("drop schema if exists floor cascade; drop schema if exists bare cascade")
        admin.execute(Path(__file__).with_name("floor.sql").read_text())
    actor = stock.actor()
    with acting_as(actor):
        batch = open_account(actor, Account.Kind.BATCH, "bench")
        store = account(actor, Account.Kind.STORE, "store")
        for first in range(0, len(stock.lots), 200):
            moves = [Move(store, batch, lot, Decimal(1)) for lot in stock.lots[first : first + 200]]
            post_entry(actor, kind=Entry.Kind.DRAW, happened_at=datetime.now(UTC), moves=moves)
    analyze(server)
    return batch


def grams() -> Decimal:
    """A little, to the milligram."""
    return Decimal(random.randint(1, 9999)).scaleb(-3)


def rate(make: Callable[[], Post], seconds: float, clients: int = CLIENTS) -> float:
    """How many of its calls so many processes make in a second."""
    from django.db import connections

    # A connection must not be shared with a child.
    connections.close_all()
    together, done = _fork.Barrier(clients), _fork.Queue()

    def work() -> None:
        random.seed(os.getpid())
        post, count = make(), 0
        for _ in range(30):
            post()
        together.wait()
        end = time.perf_counter() + seconds
        while time.perf_counter() < end:
            post()
            count += 1
        done.put(count)

    workers = [_fork.Process(target=work) for _ in range(clients)]
    for worker in workers:
        worker.start()
    total = sum(done.get(timeout=seconds + 60) for _ in workers)
    for worker in workers:
        worker.join()
    return float(total) / seconds


def _ours(stock: Stock, batch: UUID) -> Post:
    from ledger.access import acting_as
    from ledger.entries import Move, account, post_entry
    from ledger.models import Account, Entry

    actor = stock.actor()
    store = account(actor, Account.Kind.STORE, "store")

    def post() -> None:
        moves = [Move(store, batch, lot, grams()) for lot in stock.some_lots(MOVES)]
        with acting_as(actor):
            post_entry(actor, kind=Entry.Kind.DRAW, happened_at=datetime.now(UTC), moves=moves)

    return post


def walled(stock: Stock, batch: UUID) -> Post:
    """The least into the same tables, in a transaction inside the same walls."""
    from django.db import connection

    from ledger.entries import account
    from ledger.ids import new_id
    from ledger.models import Account

    own = connection.get_connection_params()
    wire = psycopg.connect(
        **{name: own[name] for name in ("dbname", "user", "host")}, prepare_threshold=0
    )
    store = account(stock.actor(), Account.Kind.STORE, "store")
    walls = (str(stock.coop_id), str(stock.maker_id))
    with wire.transaction():
        wire.execute(WALLS, walls)
        layer_of = dict(
            wire.execute(
                "select c.lot_id, l.id from ledger_custody c"
                " join ledger_layer l on l.material_id = c.material_id"
            ).fetchall()
        )

    def post() -> None:
        lots = stock.some_lots(MOVES)
        layers = [layer_of[lot] for lot in lots]
        quantities = [grams() for _ in lots]
        now, person = datetime.now(UTC), stock.person_id
        given = (new_id(), now, person, store, batch, lots, layers, quantities)
        with wire.transaction():
            wire.execute(WALLS, walls)
            wire.execute(FLOOR, given).fetchone()

    return post


def bare() -> Post:
    """The least into tables of its own, one statement by itself."""
    from django.db import connection

    own = connection.get_connection_params()
    wire = psycopg.connect(
        **{name: own[name] for name in ("dbname", "user", "host")},
        prepare_threshold=0,
        autocommit=True,
    )

    def post() -> None:
        lots = random.sample(range(1, BARE_LOTS + 1), MOVES)
        quantities = [grams() for _ in lots]
        wire.execute(BARE, (datetime.now(UTC), 1, lots, quantities)).fetchone()

    return post


def _must_agree(stock: Stock) -> None:
    """What was posted for the measurement still proves."""
    from django.db import connection

    from ledger.access import acting_as

    with acting_as(stock.actor()), connection.cursor() as cursor:
        cursor.execute("select * from ledger_disagreements()")
        found = cursor.fetchall()
    if found:
        raise AssertionError(found)
