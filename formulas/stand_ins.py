"""What a formula allows at the bench: what may stand in for a line, and how much may be rework.

Each change is the next version of the formula, since batches keep the one they were planned with.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from formulas.access import version_for
from formulas.alternates import AlternateDraft, prefetch_alternates
from formulas.composing import new_version
from formulas.composition import Kind
from formulas.drafts import Draft
from formulas.models import FormulaVersion
from formulas.writing import draft_of, ingredients_named
from ledger.access import Actor
from ledger.errors import (
    Invalid,
    NotFound,
    Refusal,
    Sentence,
)

# Percents are kept to so many places.
STEP: Final = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class StandsIn:
    """A material by its name, and how much of it is active matter, in percent by mass, if said."""

    name: str
    active_percent: Decimal | None = None


def allowed_by(actor: Actor, formula: UUID | str) -> FormulaVersion:
    """The version in force, its lines with what may stand in for each. Raises NotFound."""
    version = version_for(actor, formula)
    prefetch_alternates(version)
    return version


def allow_stand_ins(
    actor: Actor,
    *,
    formula: UUID | str,
    expected_version: int | None,
    line: int,
    active_percent: Decimal | None,
    stand_ins: Sequence[StandsIn],
) -> FormulaVersion:
    """Write the next version, in which these may stand in, in their turn, for the line at a place.

    With `active_percent` of both they are matched by active matter, without of either one to one.
    A refusal points at "/stand_ins/0/name" and the like. Raises NotFound for no such line, Invalid
    for a name that nothing has and a percent out of range, and what `new_version` raises.
    """
    _check_percent(active_percent, "/active_percent")
    for place, one in enumerate(stand_ins):
        _check_percent(one.active_percent, f"/stand_ins/{place}/active_percent")
    before = allowed_by(actor, formula)
    places = [one.position for one in before.lines.all()]
    if line not in places:
        raise NotFound(pointer="/line")
    draft = _with(
        draft_of(before),
        places.index(line),
        active_percent=active_percent,
        alternates=_found(actor, stand_ins),
    )
    try:
        return new_version(actor, formula=formula, expected_version=expected_version, draft=draft)
    except Refusal as refusal:
        refusal.pointer = _pointer(refusal.pointer)
        raise


def allow_rework(
    actor: Actor, *, formula: UUID | str, expected_version: int | None, percent: Decimal | None
) -> FormulaVersion:
    """Write the next version, of which at most so many percent of a batch may be rework.

    Raises Invalid for a percent out of range, and what `new_version` raises.
    """
    if percent is not None and (percent > 100 or _too_fine(percent)):
        raise Invalid("That is 0 to 100 percent, to six decimals.", pointer="/percent")
    draft = replace(draft_of(allowed_by(actor, formula)), rework_max_percent=percent)
    return new_version(actor, formula=formula, expected_version=expected_version, draft=draft)


def _check_percent(percent: Decimal | None, pointer: str) -> None:
    """Raises Invalid for active matter that is out of range."""
    if percent is not None and (not 0 < percent <= 100 or _too_fine(percent)):
        raise Invalid("Active matter is above 0 and at most 100 percent.", pointer=pointer)


def _too_fine(percent: Decimal) -> bool:
    return percent % STEP != 0


def _found(actor: Actor, stand_ins: Sequence[StandsIn]) -> list[AlternateDraft]:
    """The materials of these names. Raises Invalid for a name that nothing has."""
    known = ingredients_named(actor, [one.name for one in stand_ins])
    drafts = []
    for place, one in enumerate(stand_ins):
        found = known.get(one.name.lower())
        if found is None or found.kind is Kind.FORMULA:
            raise Invalid(
                Sentence(
                    "No material that is bought is called {name!r}: choose from the list, or add it"
                    " first.",
                    name=one.name,
                ),
                pointer=f"/stand_ins/{place}/name",
            )
        drafts.append(AlternateDraft(found.id, one.active_percent))
    return drafts


def _with(draft: Draft, place: int, **facts: Any) -> Draft:
    """The draft with these facts changed of the line at a place among all lines."""
    phases, first = [], 0
    for phase in draft.phases:
        lines = list(phase.lines)
        if first <= place < first + len(lines):
            lines[place - first] = replace(lines[place - first], **facts)
        first += len(lines)
        phases.append(replace(phase, lines=lines))
    return replace(draft, phases=phases)


def _pointer(pointer: str) -> str:
    """A place in the phases as a place among what stands in."""
    _phases, found, place = pointer.partition("/alternates/")
    return f"/stand_ins/{place}" if found else pointer
