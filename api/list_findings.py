"""What was found in a list, as a page shows it, and as it is kept until somebody looks again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Final

from api import kept_sentences
from api.kept_sentences import printable
from api.list_kinds import Kind, Line
from ledger.price_list_rows import CellError, ListRow

# Of a long list fewer are shown: what is done with it stands beneath them.
MOST_WRONG, MOST_LINES, FEW_LINES = 100, 60, 20
FIGURES: Final = ("price", "was", "quantity")
DAYS: Final = ("day",)


@dataclass(frozen=True, slots=True)
class Wrong:
    """What is wrong with a cell: its row, what a spreadsheet calls it, and what to do about it."""

    row: int
    cell: str
    column: str
    value: str
    detail: str


@dataclass(frozen=True, slots=True)
class Findings:
    """The first that is wrong of `wrong_in_all`; or how much is new, known or there already, with
    the first of what a page shows."""

    rows: int
    wrong: Sequence[Wrong] = ()
    wrong_in_all: int = 0
    new: int = 0
    unchanged: int = 0
    known: int = 0
    lines: Sequence[Line] = field(default_factory=list)

    @property
    def more_wrong(self) -> int:
        return self.wrong_in_all - len(self.wrong)

    @property
    def more_lines(self) -> int:
        return self.new - len(self.lines)


def findings_of(kind: Kind, rows: Sequence[ListRow], found: Any) -> Findings:
    """What a verb has found in a list."""
    lines = [] if found.errors else kind.lines(found)
    return Findings(
        rows=found.rows,
        **_wrong(rows, found.errors),
        new=len(lines),
        unchanged=getattr(found, "unchanged", 0),
        known=len(getattr(found, "known", ())),
        lines=lines[:MOST_LINES],
    )


def findings_of_wrong(rows: Sequence[ListRow], errors: Sequence[CellError]) -> Findings:
    """The same of a list that was refused when it was to be kept."""
    return Findings(rows=len(rows), **_wrong(rows, errors))


def _wrong(rows: Sequence[ListRow], errors: Sequence[CellError]) -> dict[str, Any]:
    header: list[str] = max((list(row.cells) for row in rows), key=len, default=[])
    return {
        "wrong": [
            Wrong(one.row, _cell(header, one), one.column, one.value, one.detail)
            for one in errors[:MOST_WRONG]
        ],
        "wrong_in_all": len(errors),
    }


def _cell(header: Sequence[str], error: CellError) -> str:
    """Such as C5; nothing where the list has no such column."""
    from openpyxl.utils import get_column_letter

    if error.column not in header:
        return ""
    return f"{get_column_letter(header.index(error.column) + 1)}{error.row}"


def to_keep(found: Findings) -> dict[str, Any]:
    """What was found in values that JSON has."""
    return {
        "rows": found.rows,
        "wrong": [
            [w.row, w.cell, w.column, printable(w.value), kept_sentences.to_keep(w.detail)]
            for w in found.wrong
        ],
        "wrong_in_all": found.wrong_in_all,
        "new": found.new,
        "unchanged": found.unchanged,
        "known": found.known,
        "lines": [
            {name: _plain(value) for name, value in one.items()} for one in found.lines[:FEW_LINES]
        ],
    }


def as_kept(told: Mapping[str, Any]) -> Findings:
    """What `to_keep` made plain."""
    wrong = [
        Wrong(row, cell, column, value, kept_sentences.as_kept(detail))
        for row, cell, column, value, detail in told["wrong"]
    ]
    lines = [{name: _read(name, value) for name, value in one.items()} for one in told["lines"]]
    return Findings(**{**told, "wrong": wrong, "lines": lines})


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value:f}"
    return value.isoformat() if isinstance(value, date) else value


def _read(name: str, value: Any) -> Any:
    if value is None:
        return None
    if name in FIGURES:
        return Decimal(value)
    return date.fromisoformat(value) if name in DAYS else value
