"""What was found in a list, as a page shows it, and as it is kept until somebody looks again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Final

from api import kept_sentences
from api.kept_sentences import printable
from api.kept_sentences import to_keep as _kept
from api.list_kinds import Kind, Line
from api.list_sheets import Listed
from ledger.price_list_rows import CellError

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
    # Rows that name the same as an earlier one, with that one.
    twice: Sequence[tuple[int, int]] = ()
    # Where the headings stand, the sign between the cells of a CSV, and those of the figures.
    headings: int = 1
    parted: str = ","
    point: str = "."
    grouping: str = ","

    @property
    def more_wrong(self) -> int:
        return self.wrong_in_all - len(self.wrong)

    @property
    def more_lines(self) -> int:
        return self.new - len(self.lines)


def findings_of(kind: Kind, listed: Listed, found: Any) -> Findings:
    """What a verb has found in a list, with what is wrong with the list itself."""
    errors = [*listed.faults, *(one for one in found.errors if one.column not in listed.missing)]
    lines = [] if errors else kind.lines(found)
    most = FEW_LINES if found.rows > kind.most_at_once else MOST_LINES
    return Findings(
        rows=found.rows,
        **_wrong(listed, errors),
        **_how(listed),
        new=len(lines),
        unchanged=getattr(found, "unchanged", 0),
        known=len(getattr(found, "known", ())),
        twice=getattr(found, "twice", ()),
        lines=lines[:most],
    )


def findings_of_wrong(listed: Listed, errors: Sequence[CellError]) -> Findings:
    """The same of a list that was refused when it was to be kept."""
    return Findings(rows=len(listed.rows), **_wrong(listed, errors), **_how(listed))


def _how(listed: Listed) -> dict[str, Any]:
    return {
        "headings": listed.row,
        "parted": listed.parted,
        "point": listed.signs.point,
        "grouping": listed.signs.grouping,
    }


def _wrong(listed: Listed, errors: Sequence[CellError]) -> dict[str, Any]:
    place = {name: position for position, name in reversed([*enumerate(listed.header)])}
    ordered = sorted(errors, key=lambda one: (one.row, place.get(one.column, len(place))))
    return {
        "wrong": [
            Wrong(
                one.row,
                _cell(place.get(one.column), one.row),
                one.column,
                listed.typed.get((one.row, one.column), one.value),
                one.detail,
            )
            for one in ordered[:MOST_WRONG]
        ],
        "wrong_in_all": len(errors),
    }


def _cell(place: int | None, row: int) -> str:
    """Such as C5; nothing where the list has no such column."""
    from openpyxl.utils import get_column_letter

    return "" if place is None else f"{get_column_letter(place + 1)}{row}"


def to_keep(found: Findings) -> dict[str, Any]:
    """What was found in values that JSON has."""
    return {
        "rows": found.rows,
        "wrong": [
            [w.row, w.cell, printable(w.column), printable(w.value), _kept(w.detail)]
            for w in found.wrong
        ],
        "wrong_in_all": found.wrong_in_all,
        "new": found.new,
        "unchanged": found.unchanged,
        "known": found.known,
        "twice": [list(pair) for pair in found.twice],
        "headings": found.headings,
        "parted": found.parted,
        "point": found.point,
        "grouping": found.grouping,
        "lines": [{name: _plain(value) for name, value in one.items()} for one in found.lines],
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
