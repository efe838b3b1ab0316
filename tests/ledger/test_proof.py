"""The ledger's proof of itself: silent while all is well, and it names what was tampered with."""

import pytest

from deploy.embedded import Server
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
