"""A formula as people write it down: ingredients by their names, phase under phase."""

from collections import defaultdict, deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import groupby
from typing import TypeVar
from uuid import UUID

from django.db.models.functions import Lower

from formulas.access import formulas_of, version_for
from formulas.alternates import AlternateDraft, prefetch_alternates
from formulas.composing import NewFormula, new_formula, new_version, write_formula
from formulas.composition import Balance, Fixed, Ingredient, Kind, ToEffect
from formulas.drafts import Draft, LineDraft, PhaseDraft, named_in
from formulas.infusing import Infusion
from formulas.judging import Window
from formulas.measurements import windows_of
from formulas.models import FormulaVersion, Line
from formulas.recipes import density_of, infusion_of
from ledger.access import Actor, materials_visible_to
from ledger.errors import (
    Invalid,
    Refusal,
    Sentence,
)
from ledger.quantities import Density

Made = TypeVar("Made")


@dataclass(frozen=True, slots=True)
class Written:
    """One row: the phase it stands in, what it is called, how much of it, and what heat it bears.

    `max_celsius` is in degC: it goes in once the batch is no hotter. What is `spent` is strained
    out of an infusion again.
    """

    phase: str
    name: str
    amount: Fixed | ToEffect | Balance
    max_celsius: Decimal | None = None
    spent: bool = False


@dataclass(frozen=True, slots=True)
class Asks:
    """What is asked of making it: what to measure, how it steeps, within which days to fill it."""

    windows: Sequence[Window] = ()
    infusion: Infusion | None = None
    fill_within_days: int | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """What people write of a formula; the loss is in percent, and an infusion states none."""

    name: str
    rows: Sequence[Written]
    process_loss_percent: Decimal | None = None
    density: Density | None = None
    shelf_life_days: int | None = None
    note: str = ""
    asks: Asks = Asks()


def write_by_names(actor: Actor, sheet: Sheet) -> FormulaVersion:
    """Write a new formula whose ingredients are named, in any capitals: one's own formulas first.

    Rows of one phase that follow each other are added together. A refusal points at the row,
    "/lines/0/percent", as the rows were given. Raises Invalid for a name that nothing has, and
    what `write_formula` raises.
    """
    found = ingredients_named(actor, [row.name for row in sheet.rows])
    draft = _first_draft(sheet, found)
    return _pointed(draft, lambda: write_formula(actor, draft))


class Several:
    """New formulas that are written together, named as in `write_by_names`.

    A later one may name an earlier one. What any of them names is looked up at once, so that the
    number of statements does not grow with them.
    """

    def __init__(self, actor: Actor, sheets: Sequence[Sheet]) -> None:
        self.actor = actor
        self.found = ingredients_named(actor, [row.name for one in sheets for row in one.rows])
        first = [_line_of(Balance(), ingredient) for ingredient in self.found.values()]
        self.at_hand = named_in(actor, [Draft("", [PhaseDraft("", first)])])

    def new(self, sheet: Sheet) -> NewFormula:
        """Look at one of them. Raises what `write_by_names` raises, with the same pointers."""
        draft = _first_draft(sheet, self.found)
        new = _pointed(draft, lambda: new_formula(self.actor, draft, self.at_hand))
        named = sheet.name.lower()
        # Of formulas with one name the oldest is meant, and a formula before a material.
        if named not in self.found or self.found[named].kind is Kind.MATERIAL:
            self.found[named] = Ingredient(Kind.FORMULA, str(new.formula.id))
        return new


def _first_draft(sheet: Sheet, found: Mapping[str, Ingredient]) -> Draft:
    lines = [
        _line(row, ingredient, None)
        for row, ingredient in zip(sheet.rows, _all_known(sheet.rows, found), strict=True)
    ]
    return Draft(
        sheet.name,
        _phases(sheet.rows, lines),
        process_loss_percent=_loss_of(sheet),
        infusion=sheet.asks.infusion,
        density=sheet.density,
        shelf_life_days=sheet.shelf_life_days,
        fill_within_days=sheet.asks.fill_within_days,
        windows=sheet.asks.windows,
        note=sheet.note,
    )


def _loss_of(sheet: Sheet) -> Decimal | None:
    """The stated loss; that of an infusion follows from what is strained out."""
    return None if sheet.asks.infusion else sheet.process_loss_percent


def next_by_names(
    actor: Actor, *, formula: UUID | str, expected_version: int | None, sheet: Sheet
) -> FormulaVersion:
    """Write the next version of a formula in the same way.

    What a sheet does not tell stays as it is in the version in force: how much of it may be rework,
    and of each ingredient that stays its active matter and what may stand in for it. Raises what
    `new_version` and `write_by_names` raise.
    """
    before = version_for(actor, formula)
    prefetch_alternates(before)
    earlier: dict[Ingredient, deque[Line]] = defaultdict(deque)
    for line in before.lines.all():
        earlier[ingredient_of(line)].append(line)
    known = {named.lower(): what for named, what in _names_in(before)}
    found = ingredients_named(actor, [row.name for row in sheet.rows]) | known
    lines = []
    for row, ingredient in zip(sheet.rows, _all_known(sheet.rows, found), strict=True):
        same = earlier[ingredient].popleft() if earlier[ingredient] else None
        lines.append(_line(row, ingredient, same))
    density = sheet.density
    if density is not None and density.entered == before.density_entered:
        density = density_of(before)
    draft = Draft(
        sheet.name,
        _phases(sheet.rows, lines),
        process_loss_percent=_loss_of(sheet),
        infusion=sheet.asks.infusion,
        rework_max_percent=before.rework_max_percent,
        density=density,
        shelf_life_days=sheet.shelf_life_days,
        fill_within_days=sheet.asks.fill_within_days,
        windows=sheet.asks.windows,
        note=sheet.note,
    )
    return _pointed(
        draft,
        lambda: new_version(actor, formula=formula, expected_version=expected_version, draft=draft),
    )


def draft_of(version: FormulaVersion) -> Draft:
    """A version with its alternates as it would be written once more."""
    lines = list(version.lines.all())
    rows = [
        Written(line.phase.name, name_of(line), _amount_of(line), line.max_celsius, line.spent)
        for line in lines
    ]
    again = [_line(row, ingredient_of(line), line) for row, line in zip(rows, lines, strict=True)]
    infusion = infusion_of(version)
    return Draft(
        version.formula.name,
        _phases(rows, again),
        process_loss_percent=None if infusion else version.process_loss_percent,
        infusion=infusion,
        rework_max_percent=version.rework_max_percent,
        density=density_of(version),
        shelf_life_days=version.shelf_life_days,
        fill_within_days=version.fill_within_days,
        windows=list(windows_of(version).values()),
    )


def ingredients_named(actor: Actor, names: Sequence[str]) -> dict[str, Ingredient]:
    """The maker's formulas and the shared materials of these names, by the name in small letters.

    Where a formula and a material have one name, it is the formula. Raises Forbidden.
    """
    wanted = [name.lower() for name in names]
    found: dict[str, Ingredient] = {}
    for kind, rows in (
        (Kind.MATERIAL, materials_visible_to(actor).filter(maker=None)),
        (Kind.FORMULA, formulas_of(actor)),
    ):
        known = rows.annotate(folded=Lower("name")).filter(folded__in=wanted).order_by("-id")
        found |= {
            folded: Ingredient(kind, str(id)) for folded, id in known.values_list("folded", "id")
        }
    return found


def ingredient_of(line: Line) -> Ingredient:
    """What a line of a version is of."""
    if line.component_id:
        return Ingredient(Kind.FORMULA, str(line.component_id))
    return Ingredient(Kind.MATERIAL, str(line.material_id))


def name_of(line: Line) -> str:
    """What it is called."""
    return str((line.component or line.material).name)


def _amount_of(line: Line) -> Fixed | ToEffect | Balance:
    if line.kind == Line.Kind.BALANCE:
        return Balance()
    if line.max_percent is not None:
        return ToEffect(line.percent, line.max_percent)
    return Fixed(line.percent)


def _names_in(version: FormulaVersion) -> list[tuple[str, Ingredient]]:
    return [(name_of(line), ingredient_of(line)) for line in version.lines.all()]


def _all_known(rows: Sequence[Written], found: Mapping[str, Ingredient]) -> list[Ingredient]:
    """What each row is of."""
    for place, row in enumerate(rows):
        if row.name.lower() not in found:
            raise not_called(row.name).at(f"/lines/{place}/name")
    return [found[row.name.lower()] for row in rows]


def not_called(name: str) -> Refusal:
    """What is said of a name that nothing has."""
    return Invalid(
        Sentence("Nothing is called {name!r}: choose from the list, or add it first.", name=name)
    )


def _line_of(amount: Fixed | ToEffect | Balance, ingredient: Ingredient) -> LineDraft:
    if ingredient.kind is Kind.FORMULA:
        return LineDraft(amount, formula=ingredient.id)
    return LineDraft(amount, material=ingredient.id)


def _line(row: Written, ingredient: Ingredient, same: Line | None) -> LineDraft:
    """A row as a line; what it says nothing about stays as it is in the `same` line before."""
    named = replace(_line_of(row.amount, ingredient), max_celsius=row.max_celsius, spent=row.spent)
    if same is None:
        return named
    return replace(
        named,
        active_percent=same.active_percent,
        alternates=[
            AlternateDraft(one.material_id, one.active_percent) for one in same.alternates.all()
        ],
    )


def _phases(rows: Sequence[Written], lines: Sequence[LineDraft]) -> list[PhaseDraft]:
    """Lines of one phase that follow each other, together."""
    return [
        PhaseDraft(phase, [lines[place] for place in places])
        for phase, places in groupby(range(len(rows)), key=lambda place: rows[place].phase)
    ]


def _pointed(draft: Draft, write: Callable[[], Made]) -> Made:
    """Written, or refused with a pointer to the row."""
    try:
        return write()
    except Refusal as refusal:
        refusal.pointer = _pointer(refusal.pointer, [len(phase.lines) for phase in draft.phases])
        raise


def _pointer(pointer: str, lengths: Sequence[int]) -> str:
    """A place in the phases as a place among the rows."""
    parts = pointer.split("/")
    if len(parts) < 5 or parts[1] != "phases" or parts[3] != "lines":
        return pointer
    row = sum(lengths[: int(parts[2])]) + int(parts[4])
    return "/".join(["", "lines", str(row), *parts[5:]])
