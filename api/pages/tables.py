"""Any table of a page as a file: CSV, or XLSX for a spreadsheet.

    kind = tables.asked(request)
    if kind:
        return tables.file(kind, Table("shelf", ["Lot", "Quantity, g"], rows))

Figures are as the books keep them: grams or pieces, and money in the co-op's currency, so that they
can be added up. A text is never a formula to whoever opens the file.
"""

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import islice
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.utils.http import content_disposition_header, urlencode
from django.utils.translation import gettext as said

from api.sheet_writing import RECKONED, escaped

Cell = str | int | Decimal | date | None
# A table of more rows is cut, and its last line says so.
MOST_ROWS: Final = 5_000
KINDS: Final = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
# What an address says of the page that is looked at, and not of what is in the table.
OF_PAGE: Final = {"as", "table", "after", "page"}


@dataclass(frozen=True, slots=True)
class Table:
    """What a file is called, the names of its columns, and its rows."""

    name: str
    columns: Sequence[str]
    rows: Iterable[Sequence[Cell]]


# How each table of a page is made, by its name; the first has none.
Files = Mapping[str, Callable[[], Table]]


def asked(request: HttpRequest) -> str:
    """The kind of file that was asked for, or nothing for the page itself."""
    kind = request.GET.get("as", "")
    return kind if kind in KINDS else ""


def which(request: HttpRequest) -> str:
    """Which table of a page that has several; the first has no name."""
    return request.GET.get("table", "")


def query_of(request: HttpRequest, to: str = "as") -> str:
    """What the address asks for, for the links to the files of it, or to its other pages."""
    kept = [
        (name, value)
        for name in request.GET
        if name not in OF_PAGE
        for value in request.GET.getlist(name)
    ]
    return urlencode([*kept, (to, "")])


def file(kind: str, table: Table) -> HttpResponse:
    """A table as a file of this kind, to be kept and not to be opened in place."""
    rows = list(islice(table.rows, MOST_ROWS + 1))
    if len(rows) > MOST_ROWS:
        rows[MOST_ROWS] = [said("There is more than this: ask for less at a time.")]
    written = _csv(table, rows) if kind == "csv" else _xlsx(table, rows)
    name = content_disposition_header(True, f"{table.name}.{kind}") or ""
    return HttpResponse(written, content_type=KINDS[kind], headers={"Content-Disposition": name})


def unit_of(counted: bool) -> str:
    """The unit of a quantity as the books keep it."""
    return said("pieces") if counted else "g"


def _csv(table: Table, rows: Iterable[Sequence[Cell]]) -> bytes:
    """A CSV (RFC 4180) with a mark of its encoding; a number below zero is no formula."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(map(escaped, table.columns))
    writer.writerows([_text(cell) for cell in row] for row in rows)
    return out.getvalue().encode("utf-8-sig")


def _text(cell: Cell) -> str:
    if isinstance(cell, Decimal):
        return f"{cell.normalize():f}"
    return escaped(cell) if isinstance(cell, str) else "" if cell is None else str(cell)


def _xlsx(table: Table, rows: Iterable[Sequence[Cell]]) -> bytes:
    """A workbook of one sheet; the library is loaded by the first who asks for one."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet(table.name[:31])
    sheet.freeze_panes = "A2"
    for row in (table.columns, *rows):
        sheet.append([_quoted(value, sheet) if isinstance(value, str) else value for value in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _quoted(text: str, sheet: Any) -> Any:
    """A cell of text; what looks like a formula is one to the library, unless told otherwise."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    cell: Any = WriteOnlyCell(sheet, ILLEGAL_CHARACTERS_RE.sub("", text))
    cell.data_type, cell.quotePrefix = "s", text.startswith(RECKONED)
    return cell
