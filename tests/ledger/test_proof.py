"""The ledger's proof of itself: silent while all is well, and it names what was tampered with."""

import psycopg
import pytest
from django.db import connection, transaction

from deploy.embedded import Server
from ledger.access import acting_as, set_walls
from tests.ledger.bench import now, open_bench
from tests.ledger.books import Books, raw

pytestmark = pytest.mark.usefixtures("database")


def busy() -> Books:
    """Books in which a little of everything has happened."""
    books = Books("fifo")
    lot, batch = books.lot("10", "10"), books.batch()
    books.lot("5", "7")
    draw = books.take(lot, "4", batch, kind="draw").entry_id
    books.take(lot, "1", "sales", kind="sale")
    books.reverse(draw)
    books.choose("average")
    books.reserve(lot, "2", batch)
    return books


def test_all_is_well_however_often_it_is_asked() -> None:
    books = busy()
    assert books.disagreements() == []
    assert books.disagreements() == []


HOLDING = "holding equals its postings"
LAYER = "layer equals its postings"
STORE = "layers of a material equal the store"
PAST_TRIGGERS = "set session_replication_role = replica;"


@pytest.mark.parametrize(
    ("tampering", "rules"),
    [
        (
            "update ledger_holding set quantity = quantity + 1 where kind = 'store'",
            {HOLDING, STORE},
        ),
        ("update ledger_holding set value = value + 0.000001 where kind = 'sales'", {HOLDING}),
        ("delete from ledger_holding where kind = 'batch'", {HOLDING}),
        ("update ledger_layer set value = value + 1 where quantity > 0", {LAYER, STORE}),
        ("delete from ledger_posting where line = 1", {HOLDING, "entry sums to zero for each lot"}),
        (
            "update ledger_posting set value = value + 1 where line = 1",
            {HOLDING, "entry sums to zero in value for each maker"},
        ),
        ("delete from ledger_layerposting", {LAYER}),
        (
            "alter table ledger_holding drop constraint holding_not_negative;"
            "update ledger_holding set quantity = -1 where kind = 'batch'",
            {HOLDING, "goods are never below zero"},
        ),
        ("update ledger_reservation set quantity = 11", {"reserved is there"}),
    ],
)
def test_what_was_tampered_with_is_named(database: Server, tampering: str, rules: set[str]) -> None:
    books = busy()
    coop = f" coop_id = '{books.bench.coop.id}'"
    statement = tampering + (" and" if " where " in tampering else " where") + coop
    with raw(database, "", books) as cursor:
        cursor.execute(PAST_TRIGGERS + statement)
        cursor.execute("select rule, detail from ledger_disagreements()")
        found = cursor.fetchall()
    assert {rule for rule, _ in found} >= rules
    assert all(detail for _, detail in found)
    # A disagreement is the co-op's own affair, and nothing was kept of this one.
    assert books.disagreements() == []


def neighbours() -> tuple[Books, Books]:
    """Two makers of one co-op, each with a lot."""
    books = Books()
    mill = Books(bench=open_bench("Mill Bench", coop=books.bench.coop))
    books.lot("10", "10")
    mill.lot("3", "3")
    mill.lot("4", "4")
    return books, mill


def test_inside_a_makers_walls_nothing_is_told_of_another(database: Server) -> None:
    """Of the co-op everything is told where no maker is acted for."""
    books, mill = neighbours()
    spoil = (
        "update ledger_holding set quantity = quantity + %s where coop_id = %s and maker_id = %s"
    )
    whose = [mill.bench.coop.id, mill.bench.maker.id]
    with psycopg.connect(database.url_admin) as admin:
        assert admin.execute(spoil, [1, *whose]).rowcount > 0
    try:
        assert books.disagreements() == []
        assert {rule for rule, _ in mill.disagreements()} >= {HOLDING, STORE}
        with transaction.atomic(), connection.cursor() as cursor:
            set_walls(books.bench.coop.id, None)
            cursor.execute("select rule from ledger_disagreements()")
            assert {rule for (rule,) in cursor.fetchall()} >= {HOLDING, STORE}
    finally:
        with psycopg.connect(database.url_admin) as admin:
            admin.execute(spoil, [-1, *whose])


def test_inside_a_makers_walls_only_its_own_is_counted() -> None:
    def counted() -> dict[str, int]:
        with connection.cursor() as cursor:
            cursor.execute("select * from ledger_counts()")
            names = [column.name for column in cursor.description]
            return dict(zip(names, cursor.fetchone(), strict=True))

    books, mill = neighbours()
    with acting_as(books.actor):
        one = counted()
    with acting_as(mill.actor):
        other = counted()
    with transaction.atomic():
        set_walls(books.bench.coop.id, None)
        both = counted()
    assert (one["makers"], one["lots"], one["entries"]) == (1, 1, 1)
    assert (other["makers"], other["lots"], other["entries"]) == (1, 2, 2)
    assert both == {what: one[what] + other[what] for what in both}


def test_inside_a_makers_walls_nothing_is_swept() -> None:
    books, _ = neighbours()
    moment = now()

    def sweep() -> int | None:
        with connection.cursor() as cursor:
            cursor.execute("select ledger_sweep_watches(%s, %s)", [moment, moment])
            (owed,) = cursor.fetchone()
            return None if owed is None else int(owed)

    with acting_as(books.actor):
        assert sweep() is None
    with transaction.atomic():
        set_walls(books.bench.coop.id, None)
        assert sweep() == 0, "a maker's question used up the co-op's turn"
