"""Lists of lots and of formulas: every error in its cell, and nothing kept beside one."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from formulas import formula_lists
from formulas.access import formulas_of
from formulas.formula_lists import check_formulas, import_formulas
from formulas.models import Line
from ledger import stock_lists
from ledger.models import Custody, Holding, Lot
from ledger.places import add_place
from ledger.price_list_rows import ListRefused, ListRow
from ledger.stock_lists import check_stock, import_stock
from tests.factories import MORNING, D, Workshop


def rows(columns: str, *lines: str) -> list[ListRow]:
    """Rows as a sheet has them, from the second on."""
    names = columns.split(",")
    return [
        ListRow(number, dict(zip(names, line.split(","), strict=True)))
        for number, line in enumerate(lines, start=2)
    ]


def wrong(found: Any) -> list[tuple[int, str, str]]:
    return [(one.row, one.column, one.code) for one in found.errors]


STOCK = "material,quantity,value,supplier_lot,expires_on,released_because"


def test_lots_are_tried_and_then_opened(shop: Workshop) -> None:
    shop.material("Almond oil", density="0.91 g/mL")
    good = rows(STOCK, "almond OIL,1 L,18.20,A-1,2027-01-31,seen", "Almond oil,2 kg,0,A-2,,")
    tried = shop.does(check_stock, rows=good, now=MORNING)
    assert [(one.measured.quantity, one.value) for one in tried.opened] == [
        (D(910), D("18.20")),
        (D(2000), D(0)),
    ]
    assert shop.does(lambda _: Lot.objects.count()) == 0
    shop.does(import_stock, rows=good, now=MORNING)
    held = shop.does(lambda _: sorted(Holding.objects.filter(kind="store").values_list("value")))
    assert held == [(D(0),), (D("18.20"),)]


def test_a_list_says_where_its_lots_lie(shop: Workshop) -> None:
    shop.material("Almond oil")
    cold = shop.does(add_place, name="Cold shelf")
    shop.does(add_place, name="Waiting", keeps="quarantine")
    header = "material,quantity,value,supplier_lot,released_because,place"
    good = [
        f"Almond oil,1 kg,9.00,A-{n},seen,{where}" for n, where in enumerate(("cold SHELF", ""))
    ]
    bad = ["Almond oil,1 kg,9.00,A-3,seen,Waiting", "Almond oil,1 kg,9.00,A-4,,Attic"]
    tried = shop.does(check_stock, rows=rows(header, *good, *bad), now=MORNING)
    assert wrong(tried) == [(4, "place", "place_keeps_other"), (5, "place", "invalid")]
    shop.does(import_stock, rows=rows(header, *good), now=MORNING)
    lying = shop.does(lambda _: dict(Custody.objects.values_list("lot__supplier_lot", "place")))
    assert lying == {"A-0": cold.id, "A-1": None}


def test_every_error_of_a_lot_stands_in_its_cell(shop: Workshop) -> None:
    shop.material("Powder")
    shop.material("Twice")
    shop.material("Twice")
    bad = rows(
        STOCK,
        "Powder,1 kg,5.00,P-1,,",
        "Powder,1 L,5.00,P-2,,",
        "Nothing,1 oz,5,,1/2/2027,",
        "Twice,1 kg,5.001,T-1,,",
        "Powder,1 kg,5.001,P-3,,",
    )
    found = shop.does(check_stock, rows=bad, now=MORNING)
    assert sorted(wrong(found)) == [
        (3, "quantity", "density_missing"),
        (4, "expires_on", "unreadable"),
        (4, "material", "invalid"),
        (4, "quantity", "unit_ambiguous"),
        (4, "supplier_lot", "invalid"),
        (5, "material", "invalid"),
        (6, "value", "money_too_fine"),
    ]
    with pytest.raises(ListRefused):
        shop.does(import_stock, rows=bad, now=MORNING)
    assert shop.does(lambda _: Lot.objects.count()) == 0


def test_a_long_list_of_lots_asks_no_more_than_a_short_one(shop: Workshop) -> None:
    for name in "ABC":
        shop.material(f"Oil {name}")
    lines = [
        f"Oil {name},{n} kg,{n}.00,{name}{n},2027-01-31,{'seen' if n % 2 else ''}"
        for n in range(1, 11)
        for name in "CAB"
    ]
    few, many = rows(STOCK, *lines[:2]), rows(STOCK, *lines[2:])
    asked = [queries_of(shop, few), queries_of(shop, many)]
    assert asked[0] == asked[1]
    lots = shop.does(lambda _: list(Lot.objects.order_by("id").values_list("supplier_lot", "code")))
    assert [supplier_lot for supplier_lot, _ in lots] == [line.split(",")[3] for line in lines]
    assert len({code for _, code in lots}) == len(lines)
    released = shop.does(lambda _: Custody.objects.filter(status="released").count())
    assert released == len(lines) // 2
    assert shop.disagreements() == []


def queries_of(shop: Workshop, listed: list[ListRow]) -> int:
    with CaptureQueriesContext(connection) as queries:
        shop.does(import_stock, rows=listed, now=MORNING)
    return len(queries)


def test_what_only_the_books_refuse_is_told_at_its_row(shop: Workshop) -> None:
    """Each lot alone is no more than the books can keep, and two of them together are."""
    shop.material("Powder")
    large = [f"Powder,600000000 kg,5.00,P-{n},," for n in (1, 2)]
    found = shop.does(check_stock, rows=rows(STOCK, *large, "Powder,1 kg,5.00,P-3,,"), now=MORNING)
    assert [(row, code) for row, _, code in wrong(found)] == [(3, "quantity_too_large")]
    assert [one.row for one in found.opened] == [2, 4]


RECIPES = "formula,phase,ingredient,percent,most_percent"


def test_all_locks_of_a_list_are_taken_before_its_first_part(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Or a later part would wait for whom an earlier one keeps waiting."""
    monkeypatch.setattr(stock_lists, "AT_ONCE", 1)
    both = [shop.material(f"{name} oil") for name in ("Plum", "Date")]
    sent = rows(STOCK, "Date oil,1 kg,1.00,A-1,,", "Plum oil,1 kg,1.00,A-2,,")
    with CaptureQueriesContext(connection) as queries:
        shop.does(import_stock, rows=sent, now=MORNING)
    asked = [one["sql"] for one in queries.captured_queries]
    locks = [place for place, one in enumerate(asked) if "ledger_lock_pools" in one]
    lots = [place for place, one in enumerate(asked) if 'INSERT INTO "ledger_lot"' in one]
    assert all(one.id.hex in asked[locks[0]] for one in both)
    assert locks[0] < lots[0] < lots[1]


def test_formulas_are_tried_and_then_written(shop: Workshop) -> None:
    for name in ("Oil", "Wax", "Thickener"):
        shop.material(name)
    balm = ("Balm,A,oil,balance,", "Balm,A,Wax,20,", "Balm,B,Thickener,0.5,1")
    good = rows(RECIPES, balm[0], "Plain,A,Wax,100,", *balm[1:])
    tried = shop.does(check_formulas, rows=good)
    assert [(one.row, one.lines) for one in tried.written] == [(2, 3), (3, 1)]
    assert shop.does(lambda actor: formulas_of(actor).count()) == 0
    shop.does(import_formulas, rows=good)
    named = shop.does(lambda actor: sorted(formulas_of(actor).values_list("name", flat=True)))
    assert named == ["Balm", "Plain"]


def test_every_error_of_a_formula_stands_in_its_row(shop: Workshop) -> None:
    shop.material("Oil")
    bad = rows(
        RECIPES,
        "Good,A,Oil,100,",
        "Short,A,Oil,90,",
        "Strange,A,Oil,50,",
        "Strange,A,Nothing,50,",
        "Unread,A,Oil,many,",
    )
    found = shop.does(check_formulas, rows=bad)
    errors = {(row, column) for row, column, _ in wrong(found)}
    assert {(5, "ingredient"), (6, "percent")} <= errors
    assert 3 in {row for row, _ in errors}
    assert 2 not in {row for row, _ in errors}
    with pytest.raises(ListRefused):
        shop.does(import_formulas, rows=bad)
    assert shop.does(lambda actor: formulas_of(actor).count()) == 0


def test_a_later_formula_of_a_list_may_name_an_earlier_one(shop: Workshop) -> None:
    """And where the maker has one of the name already, that one is meant, as ever."""
    for name in ("Oil", "Wax", "Base"):
        shop.material(name)
    listed = rows(
        RECIPES,
        "Balm,A,base,40,",
        "Base,A,Oil,100,",
        "Balm with base,A,base,40,",
        "Balm,A,Wax,60,",
        "Balm with base,A,Wax,60,",
    )
    found = shop.does(import_formulas, rows=listed)

    def first(name: str) -> Line:
        (version,) = (one.version for one in found.written if one.version.formula.name == name)
        return shop.does(
            lambda _: Line.objects.select_related("component", "material").get(
                version=version, position=0
            )
        )

    assert [one.version.formula.name for one in found.written] == ["Balm", "Base", "Balm with base"]
    assert (first("Balm").component_id, first("Balm").material.name) == (None, "Base")
    base = first("Balm with base").component
    assert base is not None
    again = rows(RECIPES, "Base,A,Wax,100,", "Other balm,A,BASE,100,")
    found = shop.does(import_formulas, rows=again)
    assert first("Other balm").component == base


def test_a_list_that_is_tried_in_parts_finds_what_an_earlier_part_wrote(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each part is taken back before the next: what that names is written anew with it."""
    monkeypatch.setattr(formula_lists, "AT_ONCE", 1)
    shop.material("Oil")
    listed = rows(
        RECIPES, "Base,A,Oil,100,", "Cream,A,Base,100,", "Lone,A,Oil,100,", "Kit,A,Cream,100,"
    )
    told: list[int] = []
    tried = shop.does(check_formulas, rows=listed, told=told.append)
    assert (tried.errors, told) == ([], [1, 2, 3, 4])
    assert [one.version.formula.name for one in tried.written] == ["Base", "Cream", "Lone", "Kit"]
    assert shop.does(lambda actor: formulas_of(actor).count()) == 0
    kept = shop.does(import_formulas, rows=listed)
    assert [one.row for one in kept.written] == [2, 3, 4, 5]
    assert shop.does(lambda actor: formulas_of(actor).count()) == 4


def test_hundreds_of_rows_are_written_in_as_many_statements_as_few(shop: Workshop) -> None:
    """A hundred formulas of three rows took a thousand statements one by one."""
    for name in ("Oil", "Wax", "Scent"):
        shop.material(name)
    lines = [
        f"Balm {n},{phase},{of},{percent},"
        for n in range(100)
        for phase, of, percent in (("A", "Oil", "balance"), ("A", "Wax", "20"), ("B", "Scent", "1"))
    ]
    asked = []
    for listed in (lines[:3], lines[3:]):
        with CaptureQueriesContext(connection) as queries:
            shop.does(import_formulas, rows=rows(RECIPES, *listed))
        asked.append(len(queries))
    assert asked[0] == asked[1] <= 20
    assert shop.does(lambda _: Line.objects.count()) == len(lines)


def test_among_many_lots_those_that_the_books_refuse_are_found_by_halves(shop: Workshop) -> None:
    shop.material("Powder")
    lines = [f"Powder,{n} kg,1.00,P-{n},," for n in range(1, 64)]
    lines[40] = "Powder,999999999 kg,1.00,P-41,,"
    told: list[int] = []
    with CaptureQueriesContext(connection) as queries:
        found = shop.does(check_stock, rows=rows(STOCK, *lines), now=MORNING, told=told.append)
    assert [(row, code) for row, _, code in wrong(found)] == [(42, "quantity_too_large")]
    assert len(found.opened) == 62
    assert told == [63]
    assert len(queries) < 150, "one by one they were some five hundred"
