"""What a maker writes of a version, and its lines once what they name is found."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TypeVar
from uuid import UUID

from django.db import models

from formulas import composition
from formulas.alternates import AlternateDraft, check_alternates
from formulas.composition import Balance, Composed, Fixed, Ingredient, Kind, ToEffect
from formulas.errors import PercentNot100
from formulas.infusing import Infusion, process_loss
from formulas.judging import Window
from formulas.models import Formula
from ledger.access import Actor, materials_visible_to
from ledger.errors import (
    Invalid,
    NotFound,
    Sentence,
)
from ledger.models import Material
from ledger.quantities import Density

# Shelf lives are days; ten years is more than any cosmetic keeps, and a slip beyond it.
LONGEST_SHELF_LIFE_DAYS = 3650
Row = TypeVar("Row", bound=models.Model)


@dataclass(frozen=True, slots=True)
class LineDraft:
    """A line as the maker writes it: of a material or of another formula, by its id.

    `max_celsius` is for what heat harms: it goes in once the batch is no hotter, in degC.
    `active_percent` is what of it is active matter; `alternates` may stand in for it, in turn.
    What is `spent` is strained out of an infusion again.
    """

    amount: Fixed | ToEffect | Balance
    material: UUID | str | None = None
    formula: UUID | str | None = None
    max_celsius: Decimal | None = None
    active_percent: Decimal | None = None
    alternates: Sequence[AlternateDraft] = ()
    spent: bool = False


@dataclass(frozen=True, slots=True)
class PhaseDraft:
    """Lines that are added together."""

    name: str
    lines: Sequence[LineDraft]


@dataclass(frozen=True, slots=True)
class Draft:
    """One version as the maker writes it. The density is that of what is made.

    A window says what a batch should measure, one for each measure. Bulk that is not filled within
    `fill_within_days` of its making is looked at first. The loss of an infusion follows from its
    spent lines, so that it states none. `note` says why this version is written.
    """

    name: str
    phases: Sequence[PhaseDraft]
    process_loss_percent: Decimal | None = None
    infusion: Infusion | None = None
    rework_max_percent: Decimal | None = None
    density: Density | None = None
    shelf_life_days: int | None = None
    fill_within_days: int | None = None
    windows: Sequence[Window] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Named:
    """A line with its place and what it names found."""

    phase: int
    pointer: str
    amount: Fixed | ToEffect | Balance
    material: Material | None
    component: Formula | None
    draft: LineDraft

    @property
    def ingredient(self) -> Ingredient:
        if self.component is not None:
            return Ingredient(Kind.FORMULA, str(self.component.id))
        return Ingredient(Kind.MATERIAL, str(self.material.id if self.material else ""))


@dataclass(frozen=True, slots=True)
class AtHand:
    """What the lines of some drafts may name, by its id, and which of it a formula makes."""

    materials: Mapping[UUID, Material] = field(default_factory=dict)
    formulas: dict[UUID, Formula] = field(default_factory=dict)
    makers: Mapping[UUID, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Settled:
    """A draft whose lines are found and make 100 %, with the loss in percent."""

    draft: Draft
    loss: Decimal
    lines: Sequence[Named]
    composed: Sequence[Composed]


def named_in(actor: Actor, drafts: Iterable[Draft]) -> AtHand:
    """What the lines of drafts name, as far as it is there, in three queries at most."""
    lines = [line for draft in drafts for phase in draft.phases for line in phase.lines]
    materials = _by_id(materials_visible_to(actor), [line.material for line in lines])
    own = [material.id for material in materials.values() if material.maker_id is not None]
    made = Formula.objects.filter(material_id__in=own)
    formulas = Formula.objects.filter(maker_id=actor.maker)
    return AtHand(
        materials,
        _by_id(formulas, [line.formula for line in lines]),
        dict(made.values_list("material_id", "name")),
    )


def settle(actor: Actor, draft: Draft, at_hand: AtHand) -> Settled:
    """Find what the lines name, and make them 100 %.

    Raises NotFound, PercentNot100, SecondBalance, OverMaximum and Invalid, each with its pointer.
    """
    for name in ("shelf_life_days", "fill_within_days"):
        days: int | None = getattr(draft, name)
        if days is not None and not 0 < days <= LONGEST_SHELF_LIFE_DAYS:
            raise Invalid(
                Sentence("These are 1 to {most} days.", most=LONGEST_SHELF_LIFE_DAYS),
                pointer=f"/{name}",
            )
    measures = [window.measure for window in draft.windows]
    for place, measure in enumerate(measures):
        if measure in measures[:place]:
            raise Invalid("Each measure has one window.", pointer=f"/windows/{place}/measure")
    if not any(phase.lines for phase in draft.phases):
        raise PercentNot100(total=0, pointer="/phases")
    lines = _named(draft, at_hand)
    check_alternates(actor, [(line.pointer, line.material, line.draft) for line in lines])
    composed = composition.compose(
        [composition.Line(line.ingredient, line.amount, line.pointer) for line in lines]
    )
    return Settled(draft, _loss_of(draft, lines, composed), lines, composed)


def _loss_of(draft: Draft, lines: Sequence[Named], composed: Sequence[Composed]) -> Decimal:
    """The process loss in percent: as stated, or as it follows from what is spent."""
    spent = [
        (f"{line.pointer}/spent", settled.percent)
        for line, settled in zip(lines, composed, strict=True)
        if line.draft.spent
    ]
    return process_loss(draft.process_loss_percent, draft.infusion, spent)


def _named(draft: Draft, at_hand: AtHand) -> list[Named]:
    placed = [
        (phase, f"/phases/{phase}/lines/{place}", line)
        for phase, group in enumerate(draft.phases)
        for place, line in enumerate(group.lines)
    ]
    for _, pointer, line in placed:
        if (line.material is None) == (line.formula is None):
            raise Invalid("A line names a material or a formula, one of them.", pointer=pointer)
    materials = {
        pointer: _the_one(at_hand.materials, line.material, f"{pointer}/material")
        for _, pointer, line in placed
        if line.material is not None
    }
    components = {
        pointer: _the_one(at_hand.formulas, line.formula, f"{pointer}/formula")
        for _, pointer, line in placed
        if line.formula is not None
    }
    _check_materials(materials, at_hand.makers)
    return [
        Named(phase, pointer, line.amount, materials.get(pointer), components.get(pointer), line)
        for phase, pointer, line in placed
    ]


def _by_id(rows: "models.QuerySet[Row]", ids: Iterable[UUID | str | None]) -> dict[UUID, Row]:
    """Those of the rows that have these ids, in one query; what is no id has no row."""
    wanted = {id for one in ids if one is not None and (id := _id_in(one)) is not None}
    found: dict[UUID, Row] = {row.pk: row for row in rows.filter(id__in=wanted)}
    return found


def _id_in(id: UUID | str) -> UUID | None:
    try:
        return UUID(str(id))
    except ValueError:
        return None


def _the_one(rows: Mapping[UUID, Row], id: UUID | str, pointer: str) -> Row:
    """The row of this id. Raises NotFound."""
    known = _id_in(id)
    if known is None or known not in rows:
        raise NotFound(pointer=pointer)
    return rows[known]


def _check_materials(materials: Mapping[str, Material], makers: Mapping[UUID, str]) -> None:
    """A line is by mass, and what a formula makes is named by its formula, so that nothing can
    contain itself unseen."""
    for pointer, material in materials.items():
        if material.counted:
            raise Invalid(
                Sentence(
                    "{material} is counted, and a line is a percentage by mass; packaging belongs"
                    " to a product.",
                    material=material.name,
                ),
                pointer=f"{pointer}/material",
            )
        if material.id in makers:
            raise Invalid(
                Sentence(
                    "{material} is made: name the formula {formula!r} instead.",
                    material=material.name,
                    formula=makers[material.id],
                ),
                pointer=f"{pointer}/material",
            )
