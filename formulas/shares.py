"""What each line of a batch wants of which material, as its top-ups left it, and what was weighed.

A line as planned wants one material. A top-up makes two of it, each weighed, traced and costed by
itself, and changes what the balance line wants.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from uuid import UUID

from formulas.access import standing
from formulas.models import (
    Batch,
    BatchLine,
    BatchPackaging,
    Line,
    LineChange,
    Pick,
    Picking,
    Weighing,
)
from ledger.models import Material

ZERO = Decimal(0)
# How far a weighing may lie from its target before it is said; common practice.
TOLERANCE_PERCENT: Final = Decimal(1)


@dataclass(frozen=True, slots=True)
class Share:
    """So many grams of a material for a line, and how many of them have been weighed."""

    line: BatchLine
    material: Material
    grams: Decimal
    weighed: Decimal = ZERO

    @property
    def still(self) -> Decimal:
        """Grams that are still to be weighed."""
        return max(ZERO, self.grams - self.weighed)

    @property
    def tolerance(self) -> Decimal:
        """How many grams a weighing may lie from its target."""
        return self.grams * TOLERANCE_PERCENT / 100

    @property
    def to_effect(self) -> bool:
        return self.line.kind == Line.Kind.TO_EFFECT

    @property
    def is_replaced(self) -> bool:
        """Whether something else has its whole place on the line, and none of it went in before.

        A line of which the batch is too small to hold any is none of those.
        """
        of_old = self.line.grams > 0 or self.material.id != self.line.material_id
        return of_old and not self.grams and not self.weighed

    @property
    def is_in(self) -> bool:
        """Within the tolerance; of a line to effect more may always follow."""
        return not self.to_effect and self.weighed > 0 and self.still <= self.tolerance


def shares(
    lines: Iterable[BatchLine], changes: Iterable[LineChange], weighings: Iterable[Weighing]
) -> list[Share]:
    """The shares of all lines, in the order of the lines, each line's own material first.

    The changes come with their material, the weighings with their lot; they are those that stand.
    A material that was weighed for a line without being wanted there is no share of it.
    """
    wanted: dict[tuple[UUID, UUID], Decimal] = {}
    materials: dict[UUID, Material] = {}
    of_line = {line.id: line for line in sorted(lines, key=lambda line: line.position)}
    for line in of_line.values():
        wanted[line.id, line.material_id] = line.grams
        materials[line.material_id] = line.material
    for change in sorted(changes, key=lambda change: change.id):
        key = (change.line_id, change.material_id)
        wanted[key] = wanted.get(key, ZERO) + change.grams
        materials[change.material_id] = change.material
    weighed: dict[tuple[UUID, UUID], Decimal] = defaultdict(Decimal)
    for one in weighings:
        if one.line_id is not None:
            weighed[one.line_id, one.lot.material_id] += one.quantity
    places = {id: place for place, id in enumerate(of_line)}
    return [
        Share(of_line[line], materials[material], grams, weighed[line, material])
        for (line, material), grams in sorted(wanted.items(), key=lambda item: places[item[0][0]])
    ]


def shares_of(batch: Batch) -> list[Share]:
    """The shares of a batch, in three queries."""
    return shares(
        batch.lines.select_related("material", "component"),
        batch.changes.select_related("material"),
        standing(Weighing.objects.filter(batch=batch)).select_related("lot"),
    )


@dataclass(frozen=True, slots=True)
class Chosen:
    """The lots that count for a batch: those chosen at planning, or when last chosen anew."""

    batch: Batch
    picking: Picking | None

    @classmethod
    def of(cls, batch: Batch) -> "Chosen":
        """By the pickings of a batch, which may have been fetched before with their lacks; so may
        its picks."""
        return cls(batch, max(batch.pickings.all(), key=lambda one: one.id, default=None))

    def picks(self, row: BatchLine | BatchPackaging) -> list[Pick]:
        """The lots for a line or for packaging, in their order."""
        id = self.picking and self.picking.id
        found = [one for one in self.batch.picks.all() if one.picking_id == id]
        own = [one for one in found if row.id in (one.line_id, one.packaging_id)]
        return sorted(own, key=lambda one: one.position)

    def short(self, row: BatchLine | BatchPackaging, material: UUID | None = None) -> Decimal:
        """What no usable lot had, of all materials of a line or of one."""
        if self.picking is None:
            return row.short if material in (None, row.material_id) else ZERO
        lacks = [
            one.quantity
            for one in self.picking.lacks.all()
            if row.id in (one.line_id, one.packaging_id) and material in (None, one.material_id)
        ]
        return sum(lacks, ZERO)
