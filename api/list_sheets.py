"""Lists as people send them: the row of their headings found, and every fault told in its place.

A program that sends a list gets the first fault of its columns (`api.sheet_files.read_sheet`). A
person is told all there is, so a column that nothing is known of, or a row that is too long, keeps
nobody from looking at the other cells.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import islice
from typing import Final

from api.list_cells import Signs, read_cell
from api.list_columns import Reads, first_of_its_kind
from api.list_kinds import Kind
from api.sheet_files import (
    DELIMITERS,
    MOST_COLUMNS,
    Cell,
    HeaderWrong,
    SheetUnreadable,
    filled,
    heading,
    is_packed,
    parted,
    text_of,
    workbook,
)
from ledger.errors import Refusal, Sentence
from ledger.in_parts import silent
from ledger.price_list_rows import LONGEST_SHOWN, CellError, ListRow

# The headings stand in one of the first rows: a title may stand above them.
FIRST: Final = 10
Lines = Iterator[list[Cell]]


@dataclass(slots=True)
class Listed:
    """A list that was read: its rows, and what is wrong with it whatever its rows are about.

    `header` has the columns in their order, as the list names them, and `row` is theirs; `parted`
    is the sign between the cells of a CSV, and `signs` are those of its figures. What was typed
    stands in `typed`, by row and column, where it was written otherwise than the ledger reads it.
    """

    header: Sequence[str]
    row: int
    parted: str
    signs: Signs
    missing: Sequence[str] = ()
    faults: list[CellError] = field(default_factory=list)
    rows: list[ListRow] = field(default_factory=list)
    typed: dict[tuple[int, str], str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be read: a file by its name, of which kind, in whose hand, and on which day."""

    kind: Kind
    content: bytes
    name: str
    signs: Signs
    today: date


def read_list(
    asked: Asked, *, at_most: int | None = None, told: Callable[[int], None] = silent
) -> Listed:
    """A list, or its first rows; how many are read is `told` in between.

    Raises SheetUnreadable, SheetTooLarge, and HeaderWrong where no row names columns.
    """
    listed, lines = _opened(asked)
    columns = _columns(listed, asked.kind)
    ways = asked.signs.ways(listed.parted)
    for number, cells in islice(filled(lines, asked.kind.most, listed.row + 1), at_most):
        if any(cell.text for cell in cells[len(listed.header) :]):
            listed.faults.append(_too_long(number, cells, len(listed.header)))
        read = {
            name: read_cell(cells[place], name, reads, ways, asked.today)
            for place, (name, reads) in columns.items()
            if place < len(cells)
        }
        listed.rows.append(
            ListRow(
                number,
                {name: cell.text for name, cell in read.items()},
                {name: cell.wrong for name, cell in read.items() if cell.wrong},
            )
        )
        for place, (name, _) in columns.items():
            if name in read and read[name].text != cells[place].text:
                listed.typed[number, name] = cells[place].text
        told(len(listed.rows))
    if not listed.rows:
        raise SheetUnreadable(
            Sentence("There is no row below the headings in row {row}.", row=listed.row)
        )
    return listed


def _opened(asked: Asked) -> tuple[Listed, Lines]:
    """The list without its rows, and the lines below its headings."""
    best, failed, packed = None, None, is_packed(asked.content)
    text = "" if packed else text_of(asked.content)
    for sign in ("",) if packed else DELIMITERS:
        first = _First(parted(text, sign) if sign else workbook(asked.content))
        failed = failed or first.failed
        for row, cells in enumerate(first.lines, start=1):
            names = [_named(cell.text, asked.kind) for cell in cells[: MOST_COLUMNS + 1]]
            known = len({name for name in names if name in asked.kind.known})
            whole = all(name in names for name in asked.kind.required)
            if known and (best is None or (whole, known) > best[0]):
                best = (whole, known), Listed(names, row, sign, asked.signs), first
    if best is None:
        raise failed or _no_headings(asked, packed)
    _, listed, first = best
    while not listed.header[-1]:
        listed.header = listed.header[:-1]
    return listed, first.below(listed.row)


def _named(text: str, kind: Kind) -> str:
    """The column that a heading names; one that is not known stays as it is."""
    name = heading(text)
    return name if name in kind.known else text


class _First:
    """The first lines of a file; where one of them `failed`, the file is refused once they are
    read, since parted by another sign it may be readable."""

    def __init__(self, lines: Lines) -> None:
        self.lines: list[list[Cell]] = []
        self.rest = lines
        self.failed: Refusal | None = None
        try:
            for cells in islice(lines, FIRST):
                self.lines.append(cells)
        except SheetUnreadable as failed:
            self.failed = failed

    def below(self, row: int) -> Lines:
        """The lines below a row of them."""
        yield from self.lines[row:]
        if self.failed:
            raise self.failed
        yield from self.rest


def _no_headings(asked: Asked, packed: bool) -> Refusal:
    needed = ", ".join(asked.kind.required)
    if not packed and asked.name.lower().endswith((".xlsx", ".xls")):
        return SheetUnreadable(
            Sentence(
                "This is called a workbook and is plain text without the columns {needed}: save the"
                " list as XLSX in your spreadsheet, or as CSV.",
                needed=needed,
            )
        )
    return HeaderWrong(
        Sentence(
            "None of the first {first} rows names the columns. They are named in the first row,"
            " parted by commas, semicolons or tabs in a CSV; needed are {needed}.",
            first=FIRST,
            needed=needed,
        )
    )


def _columns(listed: Listed, kind: Kind) -> Mapping[int, tuple[str, Reads]]:
    """What stands at each place, for the places that can be read; the others are told as faults."""
    found: dict[int, tuple[str, Reads]] = {}
    reads = {one.name: one.reads for one in kind.told}
    for place, name in enumerate(listed.header):
        if name not in kind.known:
            _fault(listed, place, _unknown(name))
        elif name in listed.header[:place]:
            twice = HeaderWrong("This column stands twice: take one of them away.")
            _fault(listed, place, twice)
        else:
            found[place] = name, reads[first_of_its_kind(name)]
    listed.missing = [name for name in kind.required if name not in listed.header]
    for name in listed.missing:
        missing = HeaderWrong(
            "This column is missing: it must be there, with a value in every row."
        )
        listed.faults.append(CellError(listed.row, name, "", missing.code, missing.detail))
    return found


def _unknown(name: str) -> Refusal:
    if not name:
        return HeaderWrong("This column has no name: name it, or take it away.")
    return HeaderWrong(
        "There is no such column: take it away, or name it as one of those that there are."
    )


def _fault(listed: Listed, place: int, refusal: Refusal) -> None:
    name = listed.header[place][:LONGEST_SHOWN]
    listed.faults.append(CellError(listed.row, name, name, refusal.code, refusal.detail))


def _too_long(number: int, cells: Iterable[Cell], columns: int) -> CellError:
    more = " ".join(cell.text for cell in islice(cells, columns, None) if cell.text)
    refusal = HeaderWrong(
        "This row has more cells than there are columns: take away what is too much. A comma within"
        " a cell needs quotes around the cell."
    )
    return CellError(number, "", more[:LONGEST_SHOWN], refusal.code, refusal.detail)
