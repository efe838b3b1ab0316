"""A formula as people write it down: ingredients by their names, phase under phase."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from django.db.models.functions import Lower

from formulas.access import formulas_of
from formulas.composing import Draft, LineDraft, PhaseDraft, write_formula
from formulas.composition import Balance, Fixed, ToEffect
from formulas.models import FormulaVersion
from ledger.access import Actor, materials_visible_to
from ledger.errors import Invalid, Refusal
from ledger.quantities import Density


@dataclass(frozen=True, slots=True)
class Written:
    """One row: the phase it stands in, what it is called, and how much of it."""

    phase: str
    name: str
    amount: Fixed | ToEffect | Balance


def write_by_names(
    actor: Actor,
    *,
    name: str,
    rows: Sequence[Written],
    density: Density | None = None,
    shelf_life_days: int | None = None,
) -> FormulaVersion:
    """Write a new formula whose ingredients are named, in any capitals: one's own formulas first.

    Rows of one phase that follow each other are added together. A refusal points at the row,
    "/lines/0/percent", as the rows were given. Raises Invalid for a name that nothing has, and
    what `write_formula` raises.
    """
    found = _found(actor, [row.name for row in rows])
    lines = []
    for place, row in enumerate(rows):
        named = found.get(row.name.lower())
        if named is None:
            raise Invalid(
                f"Nothing is called {row.name!r}: choose from the list, or add it first.",
                pointer=f"/lines/{place}/name",
            )
        kind, id = named
        of_formula = kind == "formula"
        lines.append(
            LineDraft(
                row.amount,
                material=None if of_formula else id,
                formula=id if of_formula else None,
            )
        )
    phases = [
        PhaseDraft(phase, [lines[place] for place in places])
        for phase, places in groupby(range(len(rows)), key=lambda place: rows[place].phase)
    ]
    draft = Draft(name, phases, density=density, shelf_life_days=shelf_life_days)
    try:
        return write_formula(actor, draft)
    except Refusal as refusal:
        refusal.pointer = _pointer(refusal.pointer, [len(phase.lines) for phase in phases])
        raise


def _pointer(pointer: str, lengths: Sequence[int]) -> str:
    """A place in the phases as a place among the rows."""
    parts = pointer.split("/")
    if len(parts) < 5 or parts[1] != "phases" or parts[3] != "lines":
        return pointer
    row = sum(lengths[: int(parts[2])]) + int(parts[4])
    return "/".join(["", "lines", str(row), *parts[5:]])


def _found(actor: Actor, names: Sequence[str]) -> dict[str, tuple[str, str]]:
    """The materials and the maker's formulas of these names: their kinds and ids."""
    wanted = [name.lower() for name in names]
    found: dict[str, tuple[str, str]] = {}
    for kind, rows in (
        ("material", materials_visible_to(actor).filter(maker=None)),
        ("formula", formulas_of(actor)),
    ):
        known = rows.annotate(folded=Lower("name")).filter(folded__in=wanted).order_by("-id")
        found |= {folded: (kind, str(id)) for folded, id in known.values_list("folded", "id")}
    return found
