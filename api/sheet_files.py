"""Reading a sheet that somebody sends, CSV or XLSX, into rows of text, as strictly as JSON is read.

What is read is known by its bytes. A CSV is UTF-8, and what parts its cells is found in its header
alone; a workbook is opened only once its directory has said how large it becomes (a few kilobytes
can hold gigabytes), and its XML may name no entities. A cell that a program would reckon out is
told as wrong: what it shows is not in the file.
"""

import csv
import io
import re
import zipfile
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from decimal import Decimal
from typing import Any, Final

from api.sheet_writing import RECKONED
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.file_types import BEGINNINGS, FileType

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
    """The text of a cell, and why it cannot be taken, if it cannot.

    One that is `exact` stands in a workbook as a number or a day, which are written in one way.
    """

    text: str = ""
    wrong: str = ""
    exact: bool = False


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A row's number in its sheet, and its cells by column."""

    number: int
    cells: Mapping[str, Cell]


def read_sheet(
    content: bytes, *, known: Collection[str], required: Iterable[str], most: int = MOST_ROWS
) -> list[SheetRow]:
    """The rows of a sheet that are not empty.

    Raises SheetUnreadable, SheetTooLarge, and HeaderWrong for columns that are not known, not there
    or there twice.
    """
    lines = workbook(content) if is_packed(content) else _parted_by_its_header(text_of(content))
    header = [heading(cell.text) for cell in next(lines, [])]
    while header and not header[-1]:
        header.pop()
    _check_header(header, known, required)
    found = []
    for number, cells in filled(lines, most):
        if any(cell.text for cell in cells[len(header) :]):
            raise HeaderWrong(
                Sentence("Row {number} has more cells than there are columns.", number=number)
            )
        found.append(SheetRow(number, dict(zip(header, cells, strict=False))))
    if not found:
        raise SheetUnreadable("There is no row below the header.")
    return found


def filled(
    lines: Iterable[list[Cell]], most: int, first: int = 2
) -> Iterator[tuple[int, list[Cell]]]:
    """The lines in which something stands, each with its number. Raises SheetTooLarge."""
    found = 0
    for number, cells in enumerate(lines, start=first):
        if number > MOST_READ * most:
            raise SheetTooLarge(rows=most)
        if any(cell.text for cell in cells):
            found += 1
            if found > most:
                raise SheetTooLarge(rows=most)
            yield number, cells


def heading(text: str) -> str:
    """The name of a column, however it was written: "Valid From" is valid_from."""
    return re.sub(r"[\s_-]+", "_", text.strip().lower()).strip("_")


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


def is_packed(content: bytes) -> bool:
    """Whether this is packed, as a workbook is."""
    return content.startswith(ZIPPED)


def text_of(content: bytes) -> str:
    """The text of a CSV. Raises SheetUnreadable, with what it is where that is known."""
    if not content.strip():
        raise SheetUnreadable("This file is empty: fill the list in and save it first.")
    if content.startswith(COMPOUND):
        raise SheetUnreadable("This is an old or locked workbook: save it as XLSX, unlocked.")
    if content.startswith(WIDE):
        raise SheetUnreadable('This text is UTF-16: save it anew as "CSV UTF-8".')
    for kind, mark in BEGINNINGS.items():
        if mark.match(content):
            if kind is FileType.PDF:
                raise SheetUnreadable("This is a PDF: send the list itself, as CSV or XLSX.")
            raise SheetUnreadable("This is a picture: send the list itself, as CSV or XLSX.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SheetUnreadable('This text is not UTF-8: save it anew as "CSV UTF-8".') from error
    if "\0" in text:
        raise SheetUnreadable
    if not text.strip():
        raise SheetUnreadable("This file is empty: fill the list in and save it first.")
    return text


def _parted_by_its_header(text: str) -> Iterator[list[Cell]]:
    first = text.split("\n", 1)[0]
    found = [delimiter for delimiter in DELIMITERS if delimiter in first]
    if len(found) != 1:
        raise HeaderWrong("Part the columns by commas, by semicolons or by tabs: one of them.")
    return parted(text, found[0])


def parted(text: str, delimiter: str) -> Iterator[list[Cell]]:
    """The lines of a CSV. Raises SheetUnreadable."""
    try:
        for cells in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
            yield [_typed(cell) for cell in cells]
    except csv.Error as error:
        raise SheetUnreadable(Sentence("The CSV cannot be read: {error}.", error=error)) from error


def workbook(content: bytes) -> Iterator[list[Cell]]:
    """The rows of a workbook's only sheet."""
    # It brings numpy along, and few who serve ever read one.
    import openpyxl

    _check_parts(content)
    try:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, keep_links=False)
        sheet: Any = book.worksheets[0]
        names = book.sheetnames
    except Exception as error:
        # The library has no error of its own: it stumbles over whatever is not as it expects.
        raise SheetUnreadable("This workbook is damaged: save it anew.") from error
    if len(names) > 1:
        raise SheetUnreadable(
            Sentence(
                "This workbook has {count} sheets ({names}): keep the list alone in one.",
                count=len(names),
                names=", ".join(str(name)[:40] for name in names[:5]),
            )
        )
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
    names = {part.filename for part in parts}
    if "content.xml" in names:
        raise SheetUnreadable("This is an OpenDocument file: save the list as XLSX or CSV.")
    if "xl/workbook.xml" not in names:
        raise SheetUnreadable("This is packed, but no workbook: send the list as XLSX or CSV.")
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
        return Cell(value.date().isoformat(), exact=True)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return Cell(str(value), "This is neither a text, a number nor a day: type it as a text.")
    return Cell(f"{Decimal(repr(value)):f}", exact=True)


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
