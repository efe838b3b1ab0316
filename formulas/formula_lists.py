"""Formulas as a list: an ingredient in every row, under its formula; all of them or none.

A check writes everything and takes it back, so that it tells what the import would; a part at a
time, so that nobody waits for it to the end who writes a formula meanwhile. Hundreds of rows are
written in as few queries as one.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models.functions import Lower

from formulas.access import formulas_of
from formulas.composing import NewFormula, write_each
from formulas.composition import Balance, Fixed, ToEffect
from formulas.models import FormulaVersion
from formulas.writing import Several, Sheet, Written, not_called
from ledger.access import Actor
from ledger.errors import Invalid, Refusal
from ledger.in_parts import Together, Told, parts_of, silent
from ledger.price_list_rows import (
    CellError,
    Cells,
    CellWrong,
    ListRefused,
    ListRow,
    decimal_of,
    error_at,
    within,
)
from ledger.roles import Verb

REQUIRED: Final = ("formula", "ingredient", "percent")
COLUMNS: Final = ("formula", "phase", "ingredient", "percent", "most_percent")
BALANCE: Final = "balance"
# So many rows are written at once; a statement must not take too long.
AT_ONCE: Final = 500
# What a refusal of a row points at, by the list's own columns.
CALLED: Final = {"name": "ingredient", "material": "ingredient", "formula": "ingredient"}


@dataclass(frozen=True, slots=True)
class Kept:
    """A formula that rows of the list write, from which row on, and of how many.

    It is `known` where the maker has a formula of this name already.
    """

    row: int
    version: FormulaVersion
    lines: int
    known: bool = False


@dataclass(slots=True)
class FormulaList:
    """What a list says: its errors, or the formulas that it writes."""

    rows: int
    errors: list[CellError] = field(default_factory=list)
    written: list[Kept] = field(default_factory=list)

    @property
    def known(self) -> list[int]:
        """The rows where formulas begin that are there already, as it seems."""
        return [one.row for one in self.written if one.known]


def check_formulas(actor: Actor, rows: Sequence[ListRow], *, told: Told = silent) -> FormulaList:
    """What a list would write, with everything that is wrong with it; nothing stays written.

    How many rows are done is `told` in between. Raises Forbidden.
    """
    return _done(actor, rows, told, keep=False)


def import_formulas(actor: Actor, rows: Sequence[ListRow], *, told: Told = silent) -> FormulaList:
    """Write the formulas of a list. Raises ListRefused for any error, Forbidden."""
    found = _done(actor, rows, told, keep=True)
    if found.errors:
        raise ListRefused(found.errors)
    return found


@dataclass(frozen=True, slots=True)
class _Read:
    """A formula of the list with its rows; `whole` where all of them can be read."""

    rows: Sequence[ListRow]
    sheet: Sheet
    whole: bool


@dataclass(frozen=True, slots=True)
class _Sound:
    """A formula of the list that can be written, with its rows."""

    rows: Sequence[ListRow]
    new: NewFormula


def _done(actor: Actor, rows: Sequence[ListRow], told: Told, *, keep: bool) -> FormulaList:
    actor.must(Verb.FORMULATE)
    found = FormulaList(len(rows))
    sheets = _sheets(rows, found)
    had = _had(actor, (one.sheet.name for one in sheets))
    sound = _sound(sheets, Several(actor, [one.sheet for one in sheets]), found)
    together: Together[_Sound, FormulaVersion] = Together(
        lambda some: write_each(actor, [one.new for one in some]),
        lambda one, refusal: _refuse(one.rows, refusal, found),
    )
    done = len(rows) - sum(len(one.rows) for one in sound)
    by_id: dict[UUID, _Sound] = {}
    with transaction.atomic():
        for part in parts_of(sound, AT_ONCE, lambda one: len(one.rows)):
            with transaction.atomic():
                if not keep:
                    write_each(actor, [one.new for one in _beneath(part, by_id)])
                for one, version in together.written(part):
                    by_id[one.new.formula.id] = one
                    known = version.formula.name.lower() in had
                    found.written.append(Kept(one.rows[0].number, version, len(one.rows), known))
                if not keep:
                    # What is only tried is taken back at once, and with it the turn to write.
                    transaction.set_rollback(True)
            done += sum(len(one.rows) for one in part)
            told(done)
        if found.errors:
            transaction.set_rollback(True)
    found.errors.sort(key=lambda error: error.row)
    return found


def _beneath(part: Sequence[_Sound], before: Mapping[UUID, _Sound]) -> list[_Sound]:
    """The formulas of earlier parts that this one names, and what these name, in their order."""
    found: set[UUID] = set()
    waiting = list(part)
    while waiting:
        named = {line.component.id for line in waiting.pop().new.settled.lines if line.component}
        new = (named & before.keys()) - found
        found |= new
        waiting += [before[id] for id in new]
    return [one for id, one in before.items() if id in found]


def _sound(sheets: Sequence[_Read], several: Several, found: FormulaList) -> list[_Sound]:
    """Those that can be written. Every name that nothing has is told, whatever else is wrong."""
    sound: list[_Sound] = []
    before: set[str] = set()
    for one in sheets:
        unknown = {line.name.lower() for line in one.sheet.rows} - several.found.keys()
        for row, line in zip(one.rows, one.sheet.rows, strict=True):
            # An earlier formula of the list may be known once it is put right.
            if line.name.lower() in unknown - before - {""}:
                found.errors.append(error_at(row, "ingredient", not_called(line.name)))
        before.add(one.sheet.name.lower())
        if one.whole and not unknown:
            try:
                sound.append(_Sound(one.rows, several.new(one.sheet)))
            except Refusal as refusal:
                _refuse(one.rows, refusal, found)
    return sound


def _sheets(rows: Sequence[ListRow], found: FormulaList) -> list[_Read]:
    """The formulas of the list, in the order of their first rows."""
    of_formula: dict[str, list[tuple[ListRow, Written, bool]]] = {}
    for row in rows:
        cells = Cells(row)
        written = _read(cells)
        found.errors += cells.errors
        name = " ".join(cells.text("formula").split())
        of_formula.setdefault(name, []).append((row, written, not cells.errors))
    return [
        _Read(
            [row for row, _, _ in read],
            Sheet(name, [line for _, line, _ in read]),
            all(right for _, _, right in read),
        )
        for name, read in of_formula.items()
    ]


def _refuse(rows: Sequence[ListRow], refusal: Refusal, found: FormulaList) -> None:
    """Say at which of its rows a formula is refused."""
    of, place, *rest = [*refusal.pointer.strip("/").split("/"), "", ""][:3]
    if of == "lines" and place.isdecimal() and int(place) < len(rows):
        column = CALLED.get(rest[0], "percent")
        found.errors.append(error_at(rows[int(place)], column, refusal))
    else:
        found.errors.append(error_at(rows[0], "formula", refusal))


def _had(actor: Actor, names: Iterable[str]) -> set[str]:
    """The names of the list, in small letters, that the maker's formulas have, in one query."""
    folded = {name.lower() for name in names}
    rows = formulas_of(actor).annotate(folded=Lower("name")).filter(folded__in=folded)
    return set(rows.values_list("folded", flat=True))


def _read(cells: Cells) -> Written:
    """What a row says; how much of it is no matter where that cannot be read."""
    for name, why in cells.row.wrong.items():
        cells.refuse(name, CellWrong(why))
    for name in REQUIRED:
        if not cells.text(name):
            cells.refuse(name, Invalid("This column must have a value in every row."))
    cells.read("formula", within(120), "")
    phase = cells.read("phase", within(80), "")
    name = cells.read("ingredient", within(200), "")
    most = cells.read("most_percent", decimal_of, None)
    if cells.text("percent").lower() == BALANCE:
        return Written(phase, name, Balance())
    percent = cells.read("percent", decimal_of, None)
    if percent is None:
        return Written(phase, name, Balance())
    return Written(phase, name, Fixed(percent) if most is None else ToEffect(percent, most))
