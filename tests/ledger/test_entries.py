"""Posting an entry: what is kept, and what PostgreSQL refuses whoever asks."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import psycopg
import pytest
from django.db import DatabaseError, connection

from deploy.embedded import Server
from ledger.access import acting_as
from ledger.closing import close_books
from ledger.entries import Move, open_account
from ledger.errors import (
    Invalid,
    NotEnough,
    NotFound,
)
from ledger.ids import new_id
from ledger.models import Account, Entry, Outbox, Posting, Reservation
from tests.ledger.bench import now, open_bench
from tests.ledger.books import Books, ago, raw, refused_by

pytestmark = pytest.mark.usefixtures("database")
D = Decimal
LEDGER_TABLES = ["ledger_entry", "ledger_posting", "ledger_layerposting"]
KEPT_TABLES = ["ledger_holding", "ledger_pool", "ledger_layer"]


def test_an_entry_keeps_both_sides_of_each_move() -> None:
    books = Books()
    lot = books.lot("100", "50")
    batch = books.batch()
    posted = books.post(
        books.move("store", batch, lot, "40"),
        books.move("labour", batch, None, "0", "7"),
        kind="draw",
        details={"note": "first pour"},
    )
    assert posted.values == [D(20), D(7)]
    with acting_as(books.actor):
        entry = Entry.objects.get(id=posted.entry_id)
        lines = list(
            Posting.objects.filter(entry=entry)
            .order_by("line")
            .values_list("account_id", "lot_id", "quantity", "value")
        )
    assert (entry.kind, entry.details, entry.person_id) == (
        "draw",
        {"note": "first pour"},
        books.actor.person_id,
    )
    assert lines == [
        (books.at("store"), lot.id, -40, -20),
        (batch, lot.id, 40, 20),
        (books.at("labour"), None, 0, -7),
        (batch, None, 0, 7),
    ]
    assert books.held(lot) == (60, 30)
    assert books.held(lot, batch) == (40, 20)
    assert books.disagreements() == []


def test_it_is_kept_when_it_took_place_and_when_we_heard() -> None:
    """23:30 UTC on 1 May is already 2 May in Auckland, where the co-op is."""
    books = Books(bench=open_bench(time_zone="Pacific/Auckland"))
    happened_at = datetime(2026, 5, 1, 23, 30, tzinfo=UTC)
    entry_id = books.put(books.lot(), "1", "1", on=happened_at)
    with acting_as(books.actor):
        entry = Entry.objects.get(id=entry_id)
    assert (entry.happened_at, str(entry.happened_on)) == (happened_at, "2026-05-02")
    assert now() - entry.recorded_at < timedelta(minutes=1)


def test_goods_leave_a_batch_in_proportion() -> None:
    books = Books()
    lot, batch = books.lot("3", "10"), books.batch()
    books.take(lot, "3", batch, kind="draw")
    first = books.post(books.move(batch, "making", lot, "1"), kind="make")
    last = books.post(books.move(batch, "making", lot, "2"), kind="make")
    assert first.values + last.values == [D("3.333333"), D("6.666667")]
    assert books.held(lot, batch) == (0, 0)


def test_goods_that_only_change_their_place_keep_their_layers() -> None:
    books = Books("fifo")
    old, new = books.lot("10", "10"), books.lot("10", "90")
    with acting_as(books.actor):
        shelf = open_account(books.actor, Account.Kind.STORE, "cold room")
    before = books.layers()
    posted = books.post(books.move("store", shelf, new, "4"), kind="issue")
    assert posted.values == [D(36)]
    assert books.layers() == before
    assert books.held(new, shelf) == (4, 36)
    books.reverse(posted.entry_id)
    assert (books.layers(), books.held(new)) == (before, (10, 90))
    assert books.disagreements() == []
    assert books.held(old) == (10, 10)


def test_goods_may_change_their_place_while_others_come_in() -> None:
    books = Books("lot")
    lot, fresh = books.lot("10", "30"), books.lot()
    with acting_as(books.actor):
        shelf = open_account(books.actor, Account.Kind.STORE, "cold room")
    posted = books.post(
        books.move("store", shelf, lot, "4"), books.move("opening", shelf, fresh, "2", "5")
    )
    assert posted.values == [12, 5]
    assert books.layers() == [(lot.id, D(10), D(30)), (fresh.id, D(2), D(5))]
    assert books.take(lot, "6").values == [18]
    assert books.disagreements() == []


def unbalanced(books: Books, lot: UUID) -> list[tuple[Any, ...]]:
    return [(1, "store", lot, 1, 0), (2, "loss", lot, -2, 0)]


def unpaid(books: Books, lot: UUID) -> list[tuple[Any, ...]]:
    return [(1, "store", lot, 1, 5), (2, "loss", lot, -1, -4)]


def one_sided(books: Books, lot: UUID) -> list[tuple[Any, ...]]:
    return [(1, "store", None, 0, 5)]


def not_a_number(books: Books, lot: UUID) -> list[tuple[Any, ...]]:
    return [(1, "store", lot, "NaN", 0), (2, "loss", lot, "NaN", 0)]


def worth_not_a_number(books: Books, lot: UUID) -> list[tuple[Any, ...]]:
    return [(1, "store", lot, 1, "NaN"), (2, "loss", lot, -1, "NaN")]


def of_nothing(books: Books, lot: UUID) -> list[tuple[Any, ...]]:
    return [(1, "store", None, 1, 0), (2, "loss", None, -1, 0)]


Rows = Callable[[Books, UUID], list[tuple[Any, ...]]]


def write_entry(cursor: "psycopg.Cursor[Any]", books: Books) -> UUID:
    entry = new_id()
    cursor.execute(
        "insert into ledger_entry (coop_id, maker_id, id, kind, happened_at, happened_on,"
        " recorded_at, person_id, reason, deviation, details)"
        " values (%s, %s, %s, 'issue', now(), now()::date, now(), %s, '', '', '{}')",
        [books.bench.coop.id, books.bench.maker.id, entry, books.actor.person_id],
    )
    return entry


def write_postings(
    cursor: "psycopg.Cursor[Any]", books: Books, entry: UUID, rows: list[tuple[Any, ...]]
) -> None:
    each = "(%s, %s, %s, %s, %s, %s, %s, %s, now()::date)"
    values: list[Any] = []
    for line, place, lot, quantity, value in rows:
        own = [books.bench.coop.id, books.bench.maker.id, entry]
        values += [*own, line, books.at(place), lot, quantity, value]
    cursor.execute(
        "insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id,"
        f" quantity, value, happened_on) values {', '.join([each] * len(rows))}",
        values,
    )


@pytest.mark.parametrize(
    ("rows", "constraint"),
    [
        (unbalanced, "entry_quantities_sum_to_zero"),
        (unpaid, "entry_values_sum_to_zero"),
        (one_sided, "entry_values_sum_to_zero"),
        (not_a_number, "posting_is_a_number"),
        (worth_not_a_number, "posting_is_a_number"),
        (of_nothing, "posting_without_lot_moves_value_only"),
    ],
)
def test_a_false_entry_is_refused_even_of_the_ledger_s_own_role(
    database: Server, rows: Rows, constraint: str
) -> None:
    books = Books()
    lot = books.lot("10", "10")
    books.take(lot, "1")
    with (
        raw(database, "stillroom_ledger", books) as cursor,
        pytest.raises(psycopg.errors.CheckViolation) as refused,
    ):
        write_postings(cursor, books, write_entry(cursor, books), rows(books, lot.id))
    assert refused_by(refused.value) == constraint


def test_an_entry_is_sealed_with_its_transaction(database: Server) -> None:
    books = Books()
    lot = books.lot("10", "10")
    entry = books.take(lot, "1").entry_id
    balanced = [(8, "store", lot.id, 1, 1), (9, "loss", lot.id, -1, -1)]
    with raw(database, "stillroom_ledger", books) as cursor:
        write_postings(cursor, books, write_entry(cursor, books), balanced)
        with pytest.raises(psycopg.errors.CheckViolation) as refused:
            write_postings(cursor, books, entry, balanced)
    assert refused_by(refused.value) == "entry_sealed"


@pytest.mark.parametrize("table", LEDGER_TABLES)
@pytest.mark.parametrize(
    "statement", ["update {} set maker_id = maker_id", "delete from {}", "truncate {} cascade"]
)
def test_rows_are_only_added(database: Server, table: str, statement: str) -> None:
    """The trigger holds even against the superuser; the application has not the privilege."""
    books = Books()
    books.take(books.lot("10", "10"), "1")
    with (
        raw(database, "", books) as cursor,
        pytest.raises(psycopg.errors.CheckViolation) as refused,
    ):
        cursor.execute(statement.format(table))
    assert refused_by(refused.value) == "rows_are_only_added"
    for role in ("stillroom", "stillroom_ledger"):
        with (
            raw(database, role, books) as cursor,
            pytest.raises(psycopg.errors.InsufficientPrivilege),
        ):
            cursor.execute(statement.format(table))


@pytest.mark.parametrize("table", LEDGER_TABLES + KEPT_TABLES)
def test_the_application_writes_no_ledger_table(table: str) -> None:
    books = Books()
    books.take(books.lot("10", "10"), "1")
    for statement in (f"insert into {table} default values", f"delete from {table}"):
        with (
            pytest.raises(DatabaseError) as refused,
            acting_as(books.actor),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement)
        assert isinstance(refused.value.__cause__, psycopg.errors.InsufficientPrivilege)


@pytest.mark.parametrize("quantity", ["-0.000001", "NaN"])
def test_a_holding_is_a_number_and_never_below_zero(database: Server, quantity: str) -> None:
    books = Books()
    lot = books.lot("10", "10")
    with (
        raw(database, "stillroom_ledger", books) as cursor,
        pytest.raises(psycopg.errors.CheckViolation) as refused,
    ):
        cursor.execute(
            "update ledger_holding set quantity = %s where lot_id = %s and kind = 'store'",
            [quantity, lot.id],
        )
    assert refused_by(refused.value) == "holding_not_negative"


@pytest.mark.parametrize(
    ("quantity", "value"),
    [("-1", "0"), ("NaN", "0"), ("Infinity", "0"), ("1", "-1"), ("1", "NaN"), ("0.0000001", "0")],
)
def test_a_move_is_exact_and_never_negative(quantity: str, value: str) -> None:
    books = Books()
    with pytest.raises(DatabaseError) as refused:
        books.put(books.lot(), quantity, value)
    assert refused_by(refused.value) == "move_is_exact"


def test_what_leaves_a_store_cannot_be_given_another_cost() -> None:
    books = Books()
    lot = books.lot("10", "10")
    with pytest.raises(DatabaseError) as refused:
        books.post(books.move("store", "loss", lot, "1", "0.5"))
    assert refused_by(refused.value) == "store_costs_by_formula"


def test_another_maker_s_lots_and_accounts_are_not_there() -> None:
    books = Books()
    neighbour = Books(bench=open_bench("Mill Bench", coop=books.bench.coop))
    stranger = Books()
    own = books.lot("10", "10")
    for other in (neighbour, stranger):
        theirs = other.lot("10", "10")
        moves = [
            books.move("store", "loss", theirs, "1"),
            Move(other.at("store"), books.at("loss"), theirs.id, D(1)),
            Move(books.at("store"), other.at("loss"), own.id, D(1)),
            Move(other.at("labour"), books.at("making"), None, D(0), D(1)),
        ]
        for move in moves:
            with pytest.raises(NotFound):
                books.post(books.move("store", "loss", own, "1"), move)
    assert books.held(own) == (10, 10)


def test_nothing_happens_in_the_future() -> None:
    books = Books()
    lot = books.lot("10", "10")
    with pytest.raises(Invalid) as refused:
        books.take(lot, "1", on=now() + timedelta(minutes=2))
    assert refused.value.pointer == "/happened_at"
    assert books.held(lot) == (10, 10)


def test_a_closed_period_stays_closed() -> None:
    books = Books()
    lot = books.lot("10", "10", on=ago(9))
    with acting_as(books.actor):
        close_books(books.actor, closed_on=ago(5).date(), today=now().date())
    with pytest.raises(Invalid, match="closed up to") as refused:
        books.take(lot, "1", on=ago(5))
    assert refused.value.pointer == "/happened_at"
    books.take(lot, "1", on=ago(4))
    assert books.held(lot)[0] == 9


def test_a_draw_of_more_than_is_there_is_told_what_is_left() -> None:
    books = Books()
    lot = books.lot("2.5", "10")
    with pytest.raises(NotEnough, match=r"Only 2\.5 g of the lot \w+ is left") as refused:
        books.post(books.move("store", "loss", lot, "2"), books.move("store", "sample", lot, "1"))
    assert refused.value.facts == {"lot": str(lot.id), "left": "2.500000"}
    assert books.held(lot) == (D("2.5"), 10)


def test_a_draw_dated_back_overdraws_no_later_day() -> None:
    """10 in on day 9 and 8 out on day 5, then 8 in on day 2: between them only 2 can go."""
    books = Books()
    lot = books.lot("10", "10", on=ago(9))
    books.take(lot, "8", on=ago(5))
    books.put(lot, "8", "8", on=ago(2))
    for days in (9, 6, 5, 3):
        with pytest.raises(NotEnough, match="overdrawn by 1") as refused:
            books.take(lot, "3", on=ago(days))
        assert refused.value.facts["lot"] == str(lot.id)
    with pytest.raises(NotEnough, match="overdrawn by 1"):
        books.take(lot, "1", on=ago(10))
    books.take(lot, "2", on=ago(9))
    books.take(lot, "3", on=ago(2))
    assert books.held(lot)[0] == 5
    assert books.disagreements() == []


def test_what_others_were_promised_stays_theirs() -> None:
    books = Books()
    lot, own, other = books.lot("100", "10"), books.batch("B1"), books.batch("B2")
    books.reserve(lot, "60", other)
    books.reserve(lot, "10", own)
    with pytest.raises(NotEnough, match="reserved for B2") as refused:
        books.take(lot, "41", own, kind="draw")
    assert refused.value.facts == {
        "lot": str(lot.id),
        "left": "40.000000",
        "reserved_for": ["B2"],
    }
    with pytest.raises(NotEnough, match="reserved for B1, B2"):
        books.take(lot, "31")
    books.take(lot, "40", own, kind="draw")
    books.take(lot, "25", other, kind="draw")
    with acting_as(books.actor):
        left = dict(Reservation.objects.values_list("account_id", "quantity"))
    assert left == {own: 0, other: 35}
    assert books.held(lot)[0] == 35
    assert books.disagreements() == []


def test_a_refused_entry_leaves_nothing_behind() -> None:
    books = Books()
    lot, short = books.lot("10", "10"), books.lot("1", "1")
    with acting_as(books.actor):
        before = (Entry.objects.count(), Posting.objects.count(), Outbox.objects.count())
    with pytest.raises(NotEnough):
        books.post(
            books.move("store", "loss", lot, "1"), books.move("store", "loss", short, "1.000001")
        )
    with acting_as(books.actor):
        assert (Entry.objects.count(), Posting.objects.count(), Outbox.objects.count()) == before
    assert (books.held(lot), books.held(short)) == ((10, 10), (1, 1))
