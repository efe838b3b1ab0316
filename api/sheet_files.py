"""Reading a sheet that somebody sends, CSV or XLSX, into rows of text, as strictly as JSON is read.

What is read is known by its bytes. A CSV is UTF-8, and what parts its cells is found in its header
alone; a workbook is opened only once its directory has said how large it becomes (a few kilobytes
can hold gigabytes), and its XML may name no entities. A cell that a program would reckon out is
told as wrong: what it shows is not in the file.
"""

import csv
import io
import zipfile
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from decimal import Decimal
from typing import Any, Final

from api.sheet_writing import RECKONED
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.in_parts import silent

MOST_ROWS: Final = 2_000
# Empty rows cost time too: for each row that there may be, so many are read.
MOST_READ: Final = 5
MOST_COLUMNS: Final = 80
LONGEST_CELL: Final = 1_000
MOST_PARTS: Final = 200
LARGEST_UNPACKED: Final = 16 * 1024 * 1024
FORMULA: Final = "A formula stands in this cell: put its value in its place."
DELIMITERS: Final = ",;\t"
ZIPPED, COMPOUND = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
WIDE: Final = (b"\xff\xfe", b"\xfe\xff")


class SheetUnreadable(Invalid):
    """This is no CSV in UTF-8 and no XLSX: save the list as one of them."""

    code = "sheet_unreadable"


class SheetTooLarge(Invalid):
    """A list has at most {rows} rows: send it in parts, without empty rows."""

    code = "sheet_too_large"


class HeaderWrong(Invalid):
    """The first row names the columns; take the names from the template."""

    code = "header_wrong"


@dataclass(frozen=True, slots=True)
class Cell:
    """The text of a cell, and why it cannot be taken, if it cannot."""

    text: str = ""
    wrong: str = ""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A row's number in its sheet, and its cells by column."""

    number: int
    cells: Mapping[str, Cell]


def read_sheet(
    content: bytes,
    *,
    known: Collection[str],
    required: Iterable[str],
    most: int = MOST_ROWS,
    told: Callable[[int], None] = silent,
) -> list[SheetRow]:
    """The rows of a sheet that are not empty; how many are read is `told` in between.

    Raises SheetUnreadable, SheetTooLarge, and HeaderWrong for columns that are not known, not there
    or there twice.
    """
    table = []
    for row in sheet_rows(content, known=known, required=required, most=most):
        table.append(row)
        told(len(table))
    return table


def sheet_rows(
    content: bytes, *, known: Collection[str], required: Iterable[str], most: int = MOST_ROWS
) -> Iterator[SheetRow]:
    """The same rows one after the other, read no further than they are asked for."""
    lines = _workbook(content) if content.startswith(ZIPPED) else _text(content)
    header = [cell.text.lower() for cell in next(lines, [])]
    while header and not header[-1]:
        header.pop()
    _check_header(header, known, required)
    found = 0
    for number, cells in enumerate(lines, start=2):
        if number > MOST_READ * most:
            raise SheetTooLarge(rows=most)
        if any(cell.text for cell in cells[len(header) :]):
            raise HeaderWrong(
                Sentence("Row {number} has more cells than there are columns.", number=number)
            )
        if any(cell.text for cell in cells):
            found += 1
            if found > most:
                raise SheetTooLarge(rows=most)
            yield SheetRow(number, dict(zip(header, cells, strict=False)))
    if not found:
        raise SheetUnreadable("There is no row below the header.")


def _check_header(header: Sequence[str], known: Collection[str], required: Iterable[str]) -> None:
    if not any(header):
        raise HeaderWrong
    for name in header:
        if name not in known:
            shown = name[:40] if name.isprintable() else "?"
            raise HeaderWrong(
                Sentence(
                    "There is no column {shown!r}: the template names those there are.", shown=shown
                )
            )
        if header.count(name) > 1:
            raise HeaderWrong(Sentence("The column {name!r} stands twice.", name=name))
    missing = [name for name in required if name not in header]
    if missing:
        raise HeaderWrong(
            Sentence("These columns are missing: {columns}.", columns=", ".join(missing))
        )


def _text(content: bytes) -> Iterator[list[Cell]]:
    """The lines of a CSV."""
    if content.startswith(COMPOUND):
        raise SheetUnreadable("This is an old or locked workbook: save it as XLSX, unlocked.")
    if content.startswith(WIDE):
        raise SheetUnreadable('This text is UTF-16: save it anew as "CSV UTF-8".')
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SheetUnreadable('This text is not UTF-8: save it anew as "CSV UTF-8".') from error
    if "\0" in text:
        raise SheetUnreadable
    first = text.split("\n", 1)[0]
    found = [delimiter for delimiter in DELIMITERS if delimiter in first]
    if len(found) != 1:
        raise HeaderWrong("Part the columns by commas, by semicolons or by tabs: one of them.")
    try:
        for cells in csv.reader(io.StringIO(text, newline=""), delimiter=found[0], strict=True):
            yield [_typed(cell) for cell in cells]
    except csv.Error as error:
        raise SheetUnreadable(Sentence("The CSV cannot be read: {error}.", error=error)) from error


def _workbook(content: bytes) -> Iterator[list[Cell]]:
    """The rows of a workbook's only sheet."""
    # It brings numpy along, and few who serve ever read one.
    import openpyxl

    _check_parts(content)
    try:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, keep_links=False)
        sheet: Any = book.worksheets[0]
        alone = len(book.sheetnames) == 1
    except Exception as error:
        # The library has no error of its own: it stumbles over whatever is not as it expects.
        raise SheetUnreadable("This workbook is damaged: save it anew.") from error
    if not alone:
        raise SheetUnreadable("A workbook has one sheet, the list: remove the others.")
    # What the sheet says of its own size may be wrong, and would cut it short.
    sheet.reset_dimensions()
    rows = sheet.iter_rows(max_col=MOST_COLUMNS + 1)
    while True:
        try:
            cells = next(rows, None)
        except Exception as error:
            raise SheetUnreadable("This workbook is damaged: save it anew.") from error
        if cells is None:
            return
        yield [_cell(cell) for cell in cells]


def _check_parts(content: bytes) -> None:
    """What a workbook becomes when it is unpacked is bounded before any of it is."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            parts = packed.infolist()
    except (zipfile.BadZipFile, ValueError, OSError) as error:
        raise SheetUnreadable("This workbook is damaged: save it anew.") from error
    if "xl/workbook.xml" not in {part.filename for part in parts}:
        raise SheetUnreadable
    if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > LARGEST_UNPACKED:
        raise SheetTooLarge("This workbook is too large when unpacked: keep the list alone in it.")


def _cell(cell: Any) -> Cell:
    """A cell of a workbook: numbers as they are written, days as 2026-01-31."""
    value = cell.value
    if value is None:
        return Cell()
    if cell.data_type == "f":
        return Cell(str(value), FORMULA)
    if cell.data_type == "e":
        return Cell(str(value), "An error stands in this cell: put the value in its place.")
    if isinstance(value, str):
        return _typed(value)
    if isinstance(value, datetime) and value.time() == time():
        return Cell(value.date().isoformat())
    if isinstance(value, bool) or not isinstance(value, int | float):
        return Cell(str(value), "This is neither a text, a number nor a day: type it as a text.")
    return Cell(f"{Decimal(repr(value)):f}")


def _typed(text: str) -> Cell:
    """A text as it was before `api.sheet_writing` kept it from being taken for a formula."""
    text = text.strip()
    if len(text) > LONGEST_CELL:
        return Cell(
            text[:LONGEST_CELL],
            Sentence("A cell has at most {most} characters.", most=LONGEST_CELL),
        )
    if text.startswith("="):
        return Cell(text, FORMULA)
    return Cell(text[1:] if text[:1] == "'" and text[1:2] in RECKONED else text)
