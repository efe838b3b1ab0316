"""Late bills in random company: receipts, draws, bills and reversals, and the books agree."""

import itertools
import random
from contextlib import suppress
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import UUID

import pytest
from django.db import IntegrityError, connection

from ledger.access import acting_as
from ledger.billing import Wanted, book_bill
from ledger.catalogue import add_supplier
from ledger.entries import Move, account, post_entry, reverse_entry
from ledger.errors import AlreadyReversed, Forbidden, Invalid, NotEnough, UsedSince
from ledger.models import Account, Bill, BillLine, Entry, Layer, Posting
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, Received, receive
from tests.ledger.bench import now
from tests.ledger.books import Books, ago

pytestmark = pytest.mark.usefixtures("database")
D = Decimal
_suppliers = itertools.count(1)


def delivered(books: Books, *lots: tuple[str, str]) -> Received:
    with acting_as(books.actor):
        supplier = add_supplier(books.actor, name=f"Supplier {random.random()}")
        return receive(
            books.actor,
            supplier=supplier.id,
            lines=[
                Delivered(str(books.material.id), f"S{n}", parse_quantity(quantity), D(price))
                for n, (quantity, price) in enumerate(lots)
            ],
            charges=[],
            happened_at=ago(3),
            release_basis="seen",
        )


def booked(books: Books, received: Received, kind: str, amount: str, **more: Any) -> Bill:
    wanted = Wanted(kind=Bill.Kind(kind), amount=D(amount), **more)
    with acting_as(books.actor):
        return book_bill(books.actor, receipt=received.receipt.id, bill=wanted, happened_at=now())


def draw(books: Books, received: Received, lot: int, quantity: str, to: Any) -> Any:
    with acting_as(books.actor):
        return post_entry(
            books.actor,
            kind=Entry.Kind.DRAW,
            happened_at=now(),
            moves=[Move(books.at("store"), to, received.lots[lot].id, D(quantity))],
        )


def layers_value(books: Books) -> Decimal:
    with acting_as(books.actor):
        rows = Layer.objects.filter(material=books.material).values_list("value", flat=True)
        return sum(rows, D(0))


def store_value(books: Books) -> Decimal:
    with acting_as(books.actor):
        rows = Posting.objects.filter(account__kind="store").values_list("value", flat=True)
        return sum(rows, D(0))


def test_the_bench_books_no_bills() -> None:
    books = Books()
    received = delivered(books, ("1 kg", "10"))
    bench = books.bench.as_role("bench")
    wanted = Wanted(kind=Bill.Kind.CREDIT_NOTE, amount=D(1))
    with pytest.raises(Forbidden), acting_as(bench):
        book_bill(bench, receipt=received.receipt.id, bill=wanted, happened_at=now())


@pytest.mark.parametrize("formula", ["lot", "fifo", "average"])
@pytest.mark.parametrize("seed", range(6))
def test_value_is_conserved_in_any_order(formula: str, seed: int) -> None:
    """Whatever happens in whatever order, the books agree to the last decimal, and each bill's
    share of the shelf is that of what is left, within a cent."""
    luck = random.Random(f"{formula} {seed}")
    books = Books(formula)
    deliveries = [delivered(books, ("700 g", "31.07"), ("300 g", "11.01"))]
    batch = books.batch()
    entries: list[UUID] = []
    for _ in range(14):
        act = luck.choice(["deliver", "draw", "draw", "charge", "credit", "undo"])
        if act == "deliver":
            deliveries.append(delivered(books, (f"{luck.randint(1, 999)} g", "17.77")))
        with suppress(UsedSince, Invalid, NotEnough):
            entries += _done(books, act, luck, deliveries, batch, entries)
        assert books.disagreements() == []
        store, layers = store_value(books), layers_value(books)
        assert store == layers >= 0


def _done(
    books: Books,
    act: str,
    luck: random.Random,
    deliveries: list[Received],
    batch: UUID,
    entries: list[UUID],
) -> list[UUID]:
    """Do it, if it can be done; the entry that came of it."""
    received = luck.choice(deliveries)
    if act == "draw":
        place, grams = luck.randrange(len(received.lots)), str(luck.randint(1, 120))
        return [draw(books, received, place, grams, batch).entry_id]
    if act == "undo" and entries:
        entry = entries[luck.randrange(len(entries))]
        with suppress(AlreadyReversed), acting_as(books.actor):
            reverse_entry(books.actor, entry=entry, reason="wrong", happened_at=now())
    if act in ("charge", "credit"):
        kind = "late_charge" if act == "charge" else "credit_note"
        bill = booked(books, received, kind, f"{luck.randint(1, 30)}.{luck.randint(10, 99)}")
        _shares_what_is_left(books, bill)
        return [bill.entry_id]
    return []


def _shares_what_is_left(books: Books, bill: Bill) -> None:
    with acting_as(books.actor):
        for line in BillLine.objects.select_related("line").filter(bill=bill):
            assert (
                line.to_stock + sum(line.uses.values_list("amount", flat=True), D(0)) == line.amount
            )
            exact = Fraction(line.amount) * Fraction(line.left) / Fraction(line.line.quantity)
            if line.amount > 0:
                assert abs(Fraction(line.to_stock) - exact) < Fraction(1, 100)
            else:
                assert Fraction(line.to_stock) > exact - Fraction(1, 100)


def revalued(books: Books, received: Received, source: UUID) -> None:
    """Take a cent more off a lot than its layer holds, past all that Python checks."""
    given: list[Any] = [
        books.actor.person_id,
        source,
        books.at("store"),
        account(books.actor, Account.Kind.COST_DIFFERENCE, "cost difference"),
        [received.lots[0].id],
    ]
    with acting_as(books.actor), connection.cursor() as cursor:
        cursor.execute(
            "select ledger_revalue(uuidv7(), 'credit_note', now(), %s, '', '{}', %s, %s, %s,"
            " %s::uuid[], '{-10.01}', '{0}')",
            given,
        )


def test_the_database_refuses_by_itself() -> None:
    """More off a layer than it holds, and an account that is no supplier's."""
    books = Books("lot")
    received = delivered(books, ("1 kg", "10"))
    with acting_as(books.actor):
        supplier = Posting.objects.get(entry_id=received.entry_id, quantity__lt=0).account_id
    with pytest.raises(IntegrityError, match="layer_not_negative"):
        revalued(books, received, supplier)
    with pytest.raises(IntegrityError, match="not there"):
        revalued(books, received, books.at("sales"))
    assert books.disagreements() == []
