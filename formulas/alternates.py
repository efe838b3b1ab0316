"""What may stand in for a line of a formula, in its turn; written with the version and kept."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol
from uuid import UUID

from django.db.models import Prefetch, prefetch_related_objects

from formulas.models import Alternate, Formula, FormulaVersion, Line
from ledger.access import Actor, materials_for
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.models import Material

MOST = 10


@dataclass(frozen=True, slots=True)
class AlternateDraft:
    """A material that may stand in: by its active matter, in percent, or (None) one to one."""

    material: UUID | str
    active_percent: Decimal | None = None


class _Written(Protocol):
    """A line as the maker writes it."""

    @property
    def active_percent(self) -> Decimal | None: ...

    @property
    def alternates(self) -> Sequence[AlternateDraft]: ...


def check_alternates(actor: Actor, lines: Sequence[tuple[str, Material | None, _Written]]) -> None:
    """Refuse alternates that cannot stand in: each line with its pointer and its own material.

    Raises NotFound, and Invalid for what is counted, made from a formula, named twice or the line's
    own, and for active matter that is stated on one side only.
    """
    placed = [
        (f"{pointer}/alternates/{place}", own, line, alternate)
        for pointer, own, line in lines
        for place, alternate in enumerate(line.alternates)
    ]
    found = materials_for(actor, [(one.material, f"{p}/material") for p, _, _, one in placed])
    _refuse_made(placed, found)
    seen: set[tuple[int, UUID]] = set()
    for (pointer, own, line, alternate), material in zip(placed, found, strict=True):
        if material.counted:
            raise Invalid(
                Sentence(
                    "{material} is counted, and a line is a percentage by mass.",
                    material=material.name,
                ),
                pointer=f"{pointer}/material",
            )
        if (own is not None and own.id == material.id) or (id(line), material.id) in seen:
            raise Invalid(
                Sentence("{material} stands on this line already.", material=material.name),
                pointer=f"{pointer}/material",
            )
        seen.add((id(line), material.id))
        if (line.active_percent is None) != (alternate.active_percent is None):
            raise Invalid(
                "Active matter is matched between two figures: give active_percent to the line and"
                " to the alternate, or to neither, which is one to one.",
                pointer=f"{pointer}/active_percent",
            )


def keep_alternates(lines: Iterable[tuple[Line, Sequence[AlternateDraft]]]) -> None:
    """Write the alternates of the lines of a new version."""
    Alternate.objects.bulk_create(
        Alternate(
            coop_id=line.coop_id,
            maker_id=line.maker_id,
            line=line,
            position=place,
            material_id=UUID(str(one.material)),
            active_percent=one.active_percent,
        )
        for line, alternates in lines
        for place, one in enumerate(alternates)
    )


def prefetch_alternates(version: FormulaVersion) -> None:
    """Find the alternates of all lines of a version at once."""
    rows = Alternate.objects.select_related("material").order_by("position")
    prefetch_related_objects([version], Prefetch("lines__alternates", rows))


def _refuse_made(
    placed: Sequence[tuple[str, Material | None, _Written, AlternateDraft]],
    found: Sequence[Material],
) -> None:
    """What a formula makes would bring lines of its own, which no cycle check sees here."""
    own = [material.id for material in found if material.maker_id is not None]
    made = dict(Formula.objects.filter(material_id__in=own).values_list("material_id", "name"))
    for (pointer, *_), material in zip(placed, found, strict=True):
        if material.id in made:
            raise Invalid(
                Sentence(
                    "{material} is made: an alternate is something that is bought.",
                    material=material.name,
                ),
                pointer=f"{pointer}/material",
            )
