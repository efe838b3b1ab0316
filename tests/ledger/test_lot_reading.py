"""Reading lots: what is shown of each, what it is worth, and how pages follow one another."""

import json
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from typing import Any
from uuid import UUID

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import example, given, settings
from hypothesis import strategies as st

from ledger.access import acting_as
from ledger.errors import NotFound
from ledger.lot_reading import LotsWanted, list_lots, show_lot
from ledger.models import Lot
from tests.ledger.bench import open_bench
from tests.ledger.books import Books, ago

pytestmark = pytest.mark.usefixtures("database")
D = Decimal


def shown(books: Books, lot: Lot) -> dict[str, Any]:
    with acting_as(books.actor):
        return show_lot(books.actor, lot.id)


def listed(books: Books, limit: int = 100, after: str | None = None, **wanted: Any) -> list[str]:
    with acting_as(books.actor):
        page = list_lots(books.actor, LotsWanted(**wanted), after=after, limit=limit)
    return [lot["id"] for lot in json.loads(page.results)]


def ids(*lots: Lot) -> list[str]:
    return [str(lot.id) for lot in reversed(lots)]


def test_a_lot_shows_what_it_is_and_what_it_is_worth() -> None:
    books = Books("lot")
    lot = books.lot("1500", "30.03", expires_on=date(2100, 6, 30), status="hold")
    with acting_as(books.actor):
        Lot.objects.filter(id=lot.id).update(
            density=D("1.260"), density_at=20, density_entered="1.26 g/mL"
        )
    assert shown(books, lot) == {
        "id": str(lot.id),
        "code": lot.code,
        "material": str(books.material.id),
        "material_name": books.material.name,
        "supplier": None,
        "supplier_lot": "",
        "status": "hold",
        "arrived_on": "2020-01-01",
        "expires_on": "2100-06-30",
        "retest_on": None,
        "opened_on": None,
        "use_by": None,
        "dates_note": "",
        "version": 1,
        "density": {"value": "1.26", "at": "20.00", "entered": "1.26 g/mL"},
        "on_hand": {"grams": "1500.000000"},
        "value": "30.03",
        "unit_cost": {"amount": "20.020000", "per": "kg"},
        "document_count": 0,
        "place": None,
        "place_name": "",
        "out_of_place": False,
    }


@pytest.mark.parametrize(
    ("formula", "p_worth", "q_worth"),
    # 12 kg at 5.00 and 5 kg at 6.40: each its own, or 92.00 for 17 kg.
    [("lot", "60.00", "32.00"), ("average", "64.94", "27.06"), ("fifo", "64.94", "27.06")],
)
def test_worth_follows_the_cost_formula(formula: str, p_worth: str, q_worth: str) -> None:
    books = Books(formula)
    p = books.lot("20000", "100.00")
    books.take(p, "8000")
    q = books.lot("5000", "32.00")
    assert (shown(books, p)["value"], shown(books, q)["value"]) == (p_worth, q_worth)


def test_pieces_are_counted_and_what_is_gone_is_worth_nothing() -> None:
    books = Books()
    bottle = books.bench.material(measured_by="count")
    lot, gone = books.lot("3", "1", material=bottle), books.lot("5", "10")
    books.take(gone, "5")
    assert shown(books, lot)["on_hand"] == {"count": "3"}
    assert shown(books, lot)["unit_cost"] == {"amount": "0.333333", "per": "each"}
    assert shown(books, gone)["on_hand"] == {"grams": "0.000000"}
    assert (shown(books, gone)["value"], shown(books, gone)["unit_cost"]) == ("0.00", None)


def test_a_tie_goes_to_the_even_cent() -> None:
    books = Books("lot")
    down, up = books.lot("1", "0.125"), books.lot("1", "0.135")
    assert (shown(books, down)["value"], shown(books, up)["value"]) == ("0.12", "0.14")


def test_pages_follow_one_another_from_the_newest() -> None:
    books = Books()
    lots = [books.lot("1", "1") for _ in range(5)]
    seen: list[str] = []
    after: str | None = None
    sizes = []
    while True:
        with acting_as(books.actor):
            page = list_lots(books.actor, LotsWanted(), after=after, limit=2)
        found = [lot["id"] for lot in json.loads(page.results)]
        sizes.append(len(found))
        seen += found
        if page.next_after is None:
            break
        assert str(page.next_after) == found[-1]
        after = str(page.next_after)
    assert (seen, sizes) == (ids(*lots), [2, 2, 1])
    assert listed(books, limit=5) == seen
    with acting_as(books.actor):
        assert list_lots(books.actor, LotsWanted(), after=None, limit=5).next_after is None


def test_lots_are_found_by_what_is_wanted() -> None:
    books = Books()
    other = books.bench.material()
    one = books.lot("1", "1", expires_on=date(2027, 1, 1), on=ago(1))
    two = books.lot("1", "1", status="quarantine", expires_on=date(2028, 1, 1))
    three = books.lot("1", "1", material=other)
    four = books.lot("1", "1")
    books.take(four, "1")
    assert listed(books) == ids(one, two, three, four)
    assert listed(books, material=other.id) == ids(three)
    assert listed(books, status="quarantine") == ids(two)
    assert listed(books, expires_before=date(2028, 1, 1)) == ids(one)
    assert listed(books, in_stock=True) == ids(one, two, three)
    assert listed(books, in_stock=False) == ids(four)
    assert listed(books, code=three.code) == ids(three)
    assert listed(books, material=books.material.id, in_stock=True, status="released") == ids(one)
    assert listed(books, code="none") == []


def test_another_maker_s_lots_are_not_there() -> None:
    books = Books()
    neighbour = Books(bench=open_bench("Mill Bench", coop=books.bench.coop))
    own = books.lot("1", "1")
    foreign = [neighbour.lot("1", "1"), Books().lot("1", "1")]
    assert listed(books) == ids(own)
    with acting_as(books.actor):
        for id in (*(str(lot.id) for lot in foreign), str(UUID(int=1)), "none"):
            with pytest.raises(NotFound):
                show_lot(books.actor, id)


def test_a_page_takes_one_query() -> None:
    books = Books()
    for _ in range(4):
        books.lot("1", "1")
    with acting_as(books.actor), CaptureQueriesContext(connection) as queries:
        list_lots(books.actor, LotsWanted(), after=None, limit=100)
    assert len(queries) == 1


@given(
    units=st.integers(-(10**20), 10**20),
    places=st.integers(0, 8),
    digits=st.sampled_from([0, 2, 3]),
)
@example(units=25, places=1, digits=0)
@example(units=35, places=1, digits=0)
@example(units=-2675, places=3, digits=2)
@settings(max_examples=300, deadline=None)
def test_a_figure_is_shown_as_the_decimal_standard_rounds_it(
    units: int, places: int, digits: int
) -> None:
    """Ties go to the even digit (IEEE 754-2008 §4.3.1, roundTiesToEven), as in the standard
    library's decimal module, which follows the General Decimal Arithmetic specification."""
    with localcontext(prec=60):
        value = D(units).scaleb(-places)
        expected = value.quantize(D(1).scaleb(-digits), ROUND_HALF_EVEN)
    with connection.cursor() as cursor:
        cursor.execute("select ledger_shown(%s, %s)", [value, digits])
        assert cursor.fetchone() == (expected,)
