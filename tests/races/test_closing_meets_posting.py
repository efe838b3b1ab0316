"""Nothing slips into a period while it is being closed."""

import threading
from datetime import timedelta

import pytest
from django.db import connection

from deploy.embedded import Server
from ledger.access import acting_as, day_of
from ledger.closing import close_books, closed_up_to
from ledger.entries import post_entry
from ledger.errors import Invalid
from ledger.models import Entry
from tests.ledger.bench import now
from tests.ledger.books import Books
from tests.races.crowd import rewritten

pytestmark = pytest.mark.usefixtures("database")


def closed_while_posting(books: Books) -> tuple[list[object], bool]:
    """An entry of yesterday is being posted when yesterday is closed.

    What became of the closing, and whether it waited for the entry.
    """
    lot = books.lot("10", "10", on=now() - timedelta(days=3))
    yesterday = now() - timedelta(days=1)
    done: list[object] = []

    def close() -> None:
        try:
            with acting_as(books.actor):
                done.append(
                    close_books(
                        books.actor,
                        closed_on=day_of(books.actor, yesterday),
                        today=day_of(books.actor, now()),
                    )
                )
        finally:
            connection.close()

    closer = threading.Thread(target=close)
    with acting_as(books.actor):
        moves = [books.move("store", "loss", lot, "1")]
        post_entry(books.actor, kind=Entry.Kind.ISSUE, happened_at=yesterday, moves=moves)
        closer.start()
        closer.join(1)
        waited = closer.is_alive()
    closer.join(30)
    return done, waited


def test_a_closing_waits_for_what_is_being_posted() -> None:
    books = Books()
    done, waited = closed_while_posting(books)
    assert waited
    assert len(done) == 1
    lot = books.lot("5", "5")
    with pytest.raises(Invalid, match="closed up to"):
        books.take(lot, "1", on=now() - timedelta(days=1))
    with acting_as(books.actor):
        closed = closed_up_to(books.actor)
        assert closed is not None
        assert Entry.objects.filter(happened_on=closed).count() == 1


def test_without_the_lock_it_does_not(database: Server) -> None:
    """The control: the period is closed under the entry that is still on its way."""
    lock = "perform pg_advisory_xact_lock_shared(hashtextextended('books of ' || maker, 0));"
    with rewritten(database, "ledger_open_entry", {lock: ""}):
        _, waited = closed_while_posting(Books())
    assert not waited
