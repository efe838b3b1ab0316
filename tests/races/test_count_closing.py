"""A count is closed while somebody enters what was drawn before the scale was read.

Either the draw comes first, and the sheet says that its reading was overtaken; or the sheet comes
first, and its causes explain the books as they then were. What never happens is that the causes
explain other books than those of the reading's moment.
"""

from collections.abc import Callable, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any
from unittest.mock import patch

import pytest

from ledger import count_closing
from ledger.access import acting_as
from ledger.count_closing import Explained, close_sheet
from ledger.counting import Chosen, Read, book_at, open_sheet, read_lots
from ledger.entries import lock_pools
from ledger.errors import CountOvertaken
from ledger.issuing import Taken, issue
from ledger.models import CountCause, CountSheet, Lot
from ledger.quantities import parse_quantity
from tests.ledger.bench import now
from tests.ledger.books import Books, ago
from tests.races.crowd import all_at_once

pytestmark = pytest.mark.usefixtures("database")
D = Decimal
ROUNDS = 8


def counted(books: Books, lot: Lot, at: datetime) -> CountSheet:
    """1,000 g in the books and 900 g on the scale, twice."""
    with acting_as(books.actor) as actor:
        sheet = open_sheet(actor, chosen=Chosen(lots=[lot.id]), now=now())
        for _ in range(2):
            reading = Read(lot.id, quantity=parse_quantity("900 g"))
            read_lots(actor, sheet=sheet.id, readings=[reading], happened_at=at, now=now())
    return sheet


def close(books: Books, sheet: CountSheet, lot: Lot) -> Callable[[], str]:
    def work() -> str:
        with acting_as(books.actor) as actor:
            spilt = Explained(lot.id, "", CountCause.Cause.SPILL, "seen", D(100))
            try:
                close_sheet(actor, sheet=sheet.id, causes=[spilt], now=now())
            except CountOvertaken:
                return "overtaken"
            return "closed"

    return work


def draw(books: Books, lot: Lot, at: datetime) -> Callable[[], str]:
    def work() -> str:
        with acting_as(books.actor) as actor:
            taken = [Taken(lot.id, parse_quantity("30 g"))]
            issue(actor, lines=taken, purpose="gift", reason="open day", happened_at=at)
        return "drawn"

    return work


def race() -> list[str]:
    """One round: how the closing ended, once everything is checked that must hold either way."""
    books = Books()
    lot = books.lot("1000", "10", on=ago(9))
    sheet = counted(books, lot, ago(5))
    done: Sequence[Any] = all_at_once([close(books, sheet, lot), draw(books, lot, ago(6))])
    assert not [outcome for outcome in done if isinstance(outcome, Exception)], done
    assert books.disagreements() == []
    return [str(done[0]), *_left(books, sheet, lot)]


def _left(books: Books, sheet: CountSheet, lot: Lot) -> list[str]:
    left = books.held(lot)[0]
    return [f"{left.normalize():f}"]


def test_a_count_explains_the_books_that_it_was_judged_on() -> None:
    endings = {tuple(race()) for _ in range(ROUNDS)}
    assert endings <= {("closed", "870"), ("overtaken", "970")}
    assert endings


def slow_book(*args: Any, **facts: Any) -> Any:
    """The control's look at the books, after which somebody else comes in between."""
    found = book_at(*args, **facts)
    barge_in()
    return found


barge_in: Callable[[], Any] = lambda: None  # noqa: E731


def test_while_a_count_is_closed_nobody_draws_in_between_and_without_the_lock_somebody_does(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A draw that comes between the look and the posting waits for the lock.

    The control takes the lock away: the same draw goes through, unseen by the look.
    """
    for locked in (True, False):
        books = Books()
        lot = books.lot("1000", "10", on=ago(9))
        sheet = counted(books, lot, ago(5))
        ended: list[Any] = []

        def between(books: Books = books, lot: Lot = lot, ended: list[Any] = ended) -> None:
            ended.extend(all_at_once([impatient(books, lot)]))

        monkeypatch.setitem(globals(), "barge_in", between)
        taking = lock_pools if locked else lambda materials: None
        with (
            patch.object(count_closing, "book_at", slow_book),
            patch.object(count_closing, "lock_pools", taking),
        ):
            assert close(books, sheet, lot)() == "closed"
        assert ended == [("waited" if locked else "drawn")], ended


def impatient(books: Books, lot: Lot) -> Callable[[], str]:
    """Draw, but wait for no lock longer than a moment."""
    from django.db import connection, transaction
    from django.db.utils import OperationalError

    from ledger.access import set_walls

    def work() -> str:
        try:
            with transaction.atomic(durable=True):
                set_walls(books.actor.coop_id, books.actor.maker_id)
                with connection.cursor() as cursor:
                    cursor.execute("set local lock_timeout = '300ms'")
                issue(
                    books.actor,
                    lines=[Taken(lot.id, parse_quantity("30 g"))],
                    purpose="gift",
                    reason="open day",
                    happened_at=ago(6),
                )
        except OperationalError:
            return "waited"
        return "drawn"

    return work
