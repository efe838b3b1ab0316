"""The kinds of lists that can be brought in: their columns, and the verbs that try and keep one."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from api import list_columns
from api.list_columns import Column
from api.sheet_files import SheetRow
from formulas import formula_lists
from ledger import price_list_rows, price_lists, stock_lists
from ledger.access import Actor
from ledger.in_parts import Told
from ledger.price_list_rows import ListRow
from ledger.roles import Verb

Rows = Sequence[ListRow]
Line = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of list.

    One of `most_at_once` rows is tried while somebody waits, a longer one of `most` by a worker.
    `told` says what its columns mean; of the breaks of a price the first stands for all. `check`
    and `keep` are told what time it is; `lines` are what a page shows of what was found.
    """

    name: Promise | str
    lead: Promise | str
    verb: Verb
    columns: Sequence[str]
    told: Sequence[Column]
    known: Collection[str]
    required: Sequence[str]
    most_at_once: int
    most: int
    example: Sequence[Sequence[str]]
    template: str
    check: Callable[[Actor, Rows, datetime, Told], Any]
    keep: Callable[[Actor, Rows, datetime, Told], Any]
    lines: Callable[[Any], Sequence[Line]]
    # Where what was kept is found.
    place: str


def _prices(found: price_lists.PriceList) -> list[Line]:
    return [
        {
            "what": one.offer.material.name,
            "of": one.offer.supplier.name,
            "pack": one.offer.entered,
            "price": one.price.own_price,
            "was": one.was and one.was.own_price,
            "new": one.added,
            "day": one.price.valid_from,
        }
        for one in found.changes
    ]


def _lots(found: stock_lists.StockList) -> list[Line]:
    return [
        {
            "what": one.lot.material.name,
            "of": one.lot.supplier_lot,
            "quantity": one.measured.quantity,
            "counted": one.measured.counted,
            "entered": one.measured.entered,
            "price": one.value,
            "day": one.lot.expires_on,
            "place": one.place,
            "known": one.known,
        }
        for one in found.opened
    ]


def _formulas(found: formula_lists.FormulaList) -> list[Line]:
    return [
        {
            "what": one.version.formula.name,
            "row": one.row,
            "lines": one.lines,
            "known": one.known,
        }
        for one in found.written
    ]


_PRICED: Final = (
    "Harbour Oils,Glycerin,G-5,5 kg,,40.00,,,2026-01-31,1,7,720,25 kg,37.50,50 kg,35.00,,,"
)
KINDS: Final = {
    "prices": Kind(
        _("Prices of suppliers"),
        _("One row is one price of one pack, from one day on."),
        Verb.OFFER,
        price_list_rows.columns(3),
        list_columns.PRICES,
        price_list_rows.KNOWN,
        price_list_rows.REQUIRED,
        400,
        20_000,
        [_PRICED.split(",")],
        "pages/import_prices.html",
        lambda actor, rows, now, told: price_lists.check_list(actor, rows, told=told),
        lambda actor, rows, now, told: price_lists.import_list(actor, rows, told=told),
        _prices,
        "/suppliers",
    ),
    "lots": Kind(
        _("Lots that are there already"),
        _("One row is one lot, with what is left of it and what that is worth."),
        Verb.RECEIVE,
        stock_lists.COLUMNS,
        list_columns.LOTS,
        stock_lists.COLUMNS,
        stock_lists.REQUIRED,
        300,
        5_000,
        [["Glycerin", "12.5 kg", "104.00", "G-17", "2027-06-30", "", "", "certificate seen", ""]],
        "pages/import_lots.html",
        lambda actor, rows, now, told: stock_lists.check_stock(actor, rows, now=now, told=told),
        lambda actor, rows, now, told: stock_lists.import_stock(actor, rows, now=now, told=told),
        _lots,
        "/lots",
    ),
    "formulas": Kind(
        _("Formulas"),
        _("One row is one ingredient; the rows of a formula have its name and come to 100."),
        Verb.FORMULATE,
        formula_lists.COLUMNS,
        list_columns.FORMULAS,
        formula_lists.COLUMNS,
        formula_lists.REQUIRED,
        300,
        5_000,
        [
            ["Hand balm", "A", "Sunflower oil", "78", ""],
            ["Hand balm", "A", "Beeswax", "balance", ""],
            ["Hand balm", "B", "Vitamin E", "0.5", "1"],
        ],
        "pages/import_formulas.html",
        lambda actor, rows, now, told: formula_lists.check_formulas(actor, rows, told=told),
        lambda actor, rows, now, told: formula_lists.import_formulas(actor, rows, told=told),
        _formulas,
        "/formulas",
    ),
}


def list_row(row: SheetRow) -> ListRow:
    """A row of a sheet as lists are made of."""
    return ListRow(
        row.number,
        {column: cell.text for column, cell in row.cells.items()},
        {column: cell.wrong for column, cell in row.cells.items() if cell.wrong},
    )
