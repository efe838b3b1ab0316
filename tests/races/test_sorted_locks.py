"""Entries that touch several materials take their locks in one order, so nobody waits in a ring."""

import itertools
import random
from collections.abc import Callable, Sequence

import psycopg
import pytest
from django.db import OperationalError

from deploy.embedded import Server
from ledger.models import Lot
from tests.ledger.books import Books
from tests.races.crowd import all_at_once, rewritten

pytestmark = pytest.mark.usefixtures("database")
THREADS = 8
BY_LINE = (
    "order by (select min(m.line) from unnest(moves) m where m.material_id = p.material_id)"
    " for update"
)


def pour_both(books: Books, lots: Sequence[Lot], times: int) -> Callable[[], int]:
    def work() -> int:
        for _ in range(times):
            books.post(*(books.move("store", "loss", lot, "1") for lot in lots))
        return times

    return work


def opposite_orders(books: Books, times: int) -> tuple[Lot, Lot, list[int | Exception]]:
    """Half of the threads pour the one lot and then the other, half the other way round."""
    first = books.lot("1000", "1000")
    second = books.lot("1000", "1000", material=books.bench.material())
    orders = itertools.cycle([(first, second), (second, first)])
    works = [pour_both(books, next(orders), times) for _ in range(THREADS)]
    return first, second, all_at_once(works)


def deadlocked(done: Sequence[object]) -> list[object]:
    return [
        error
        for error in done
        if isinstance(error, OperationalError)
        and isinstance(error.__cause__, psycopg.errors.DeadlockDetected)
    ]


def test_opposite_orders_never_deadlock() -> None:
    books = Books()
    first, second, done = opposite_orders(books, 25)
    assert done == [25] * THREADS
    assert (books.held(first), books.held(second)) == ((800, 800), (800, 800))
    assert books.disagreements() == []


def test_without_the_order_they_do(database: Server) -> None:
    """The control: the locks are taken in the order of the lines."""
    books = Books()
    change = {"order by p.material_id for update": BY_LINE}
    with rewritten(database, "ledger_post_entry", change):
        _, _, done = opposite_orders(books, 25)
    assert deadlocked(done)
    assert books.disagreements() == []


def test_the_first_use_of_a_material_never_deadlocks() -> None:
    """The row that is locked must first be made, by whoever comes first."""
    books = Books()
    order = random.Random(20)
    for _ in range(12):
        lots = [books.lot(material=books.bench.material()) for _ in range(4)]
        works = []
        for _ in range(THREADS):
            some = order.sample(lots, order.randint(1, 4))
            moves = [books.move("opening", "store", lot, "5", "5") for lot in some]
            works.append(lambda moves=moves: books.post(*moves, kind="receipt").values)
        done = all_at_once(works)
        assert [error for error in done if isinstance(error, Exception)] == []
    assert books.disagreements() == []
