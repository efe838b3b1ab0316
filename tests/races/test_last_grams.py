"""Sixteen people pour from one lot at once: why the ledger locks.

With the lock, whoever comes too late is told what is left. The controls take the lock away and show
that the race is real.
"""

from collections.abc import Callable
from contextlib import ExitStack
from decimal import Decimal
from uuid import UUID

import pytest

from deploy.embedded import Server
from ledger.access import acting_as
from ledger.entries import post_entry
from ledger.errors import NotEnough
from ledger.issuing import Taken, sell, take_back
from ledger.models import Entry, Lot
from ledger.quantities import parse_quantity
from tests.ledger.bench import now
from tests.ledger.books import Books
from tests.races.crowd import all_at_once, rewritten

pytestmark = pytest.mark.usefixtures("database")
D = Decimal
THREADS = 16
FORMULAS = ["average", "fifo", "lot"]
LOCK = {"order by p.material_id for update": "order by p.material_id"}


def pour_until_refused(books: Books, lot: Lot, grams: str) -> Callable[[], tuple[list[D], str]]:
    """Pour again and again; the values taken, and what the refusal said was left."""

    def work() -> tuple[list[D], str]:
        values: list[D] = []
        while True:
            try:
                with acting_as(books.actor):
                    move = books.move("store", "loss", lot, grams)
                    posted = post_entry(
                        books.actor, kind=Entry.Kind.ISSUE, happened_at=now(), moves=[move]
                    )
            except NotEnough as refusal:
                return values, refusal.facts["left"]
            values += posted.values

    return work


def race(books: Books, lot: Lot) -> list[tuple[list[D], str] | Exception]:
    return all_at_once([pour_until_refused(books, lot, "7")] * THREADS)


@pytest.mark.parametrize("formula", FORMULAS)
def test_nobody_takes_what_is_gone_and_all_is_accounted_for(formula: str) -> None:
    """1,000 g at 7 g each: 142 pours, 6 g left, and everyone is told so."""
    books = Books(formula)
    books.lot("300", "77.77")
    lot = books.lot("1000", "123.456789")
    done = race(books, lot)
    pours: list[D] = []
    for outcome in done:
        assert not isinstance(outcome, Exception), outcome
        values, left = outcome
        assert left == "6.000000"
        pours += values
    assert len(pours) == 142
    assert books.held(lot)[0] == 6
    assert books.held(lot, "loss") == (994, sum(pours))
    assert books.worth() == (306, D("201.226789") - sum(pours))
    assert books.disagreements() == []


def test_without_the_lock_the_same_race_goes_wrong(database: Server) -> None:
    """The control: somebody is refused by a constraint that never speaks while the lock holds."""
    books = Books("fifo")
    books.lot("300", "77.77")
    lot = books.lot("1000", "123.456789")
    with ExitStack() as stack:
        for function in ("ledger_post_entry", "ledger_lock_pools"):
            stack.enter_context(rewritten(database, function, LOCK))
        done = race(books, lot)
    failed = [outcome for outcome in done if isinstance(outcome, Exception)]
    told = [outcome[1] for outcome in done if not isinstance(outcome, Exception)]
    assert failed or set(told) != {"6.000000"} or books.disagreements()
    # Even so the second guard, the constraints, let nothing go below zero.
    assert books.held(lot)[0] >= 0


def bring_back(books: Books, sale: UUID, lot: Lot) -> Callable[[], D]:
    def work() -> D:
        with acting_as(books.actor):
            return take_back(
                books.actor,
                sale=sale,
                lines=[Taken(lot.id, parse_quantity("3 g"))],
                reason="returned",
                happened_at=now(),
            ).value

    return work


def returns_at_once() -> tuple[Books, Lot, list[D | Exception]]:
    """10 g were sold for 5.00; eight people bring back 3 g each."""
    books = Books()
    lot = books.lot("10", "5")
    with acting_as(books.actor):
        sale = sell(
            books.actor,
            lines=[Taken(lot.id, parse_quantity("10 g"))],
            customer="shop 7",
            happened_at=now(),
        ).posted.entry_id
    return books, lot, all_at_once([bring_back(books, sale, lot)] * 8)


def test_no_more_is_brought_back_than_was_sold() -> None:
    books, lot, done = returns_at_once()
    refused = [outcome for outcome in done if isinstance(outcome, Exception)]
    assert [type(error) for error in refused] == [NotEnough] * 5
    assert {error.facts["left"] for error in refused if isinstance(error, NotEnough)} == {
        "1.000000"
    }
    assert books.held(lot) == (9, D("4.5"))
    assert books.held(lot, "sales") == (1, D("0.5"))


def test_without_the_lock_more_comes_back_than_was_sold(database: Server) -> None:
    """The control: the sales account is no store, so no constraint would notice."""
    with ExitStack() as stack:
        for function in ("ledger_post_entry", "ledger_lock_pools"):
            stack.enter_context(rewritten(database, function, LOCK))
        books, lot, _ = returns_at_once()
    assert books.held(lot)[0] > 10
