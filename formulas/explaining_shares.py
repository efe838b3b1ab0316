"""What one share of a batch is made of: so much of the batch by its percent, and what top-ups
changed; and what was weighed of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from formulas.access import batch_for, standing
from formulas.models import Batch, BatchLine, LineChange, Weighing
from ledger.access import Actor, find, material_for
from ledger.costing import round_stored
from ledger.models import Material

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class ShareTold:
    """A material of a line of a batch: what is wanted of it and why, and what was weighed, in
    grams.

    `by_percent` is the line's percent of what goes into the pot; a material that only a top-up
    put there has none of it.
    """

    batch: Batch
    line: BatchLine
    material: Material
    by_percent: Decimal
    changes: Sequence[LineChange]
    weighings: Sequence[Weighing]

    @property
    def is_own(self) -> bool:
        """Whether it is what the line was planned for."""
        return self.line.material_id == self.material.id

    @property
    def planned(self) -> Decimal:
        return self.line.grams if self.is_own else ZERO

    @property
    def rounding(self) -> Decimal:
        """What a scale can show lies so far from the percent, so that all lines come to the pot."""
        return self.planned - self.by_percent

    @property
    def wanted(self) -> Decimal:
        return self.planned + sum((one.grams for one in self.changes), ZERO)

    @property
    def weighed(self) -> Decimal:
        return sum((one.quantity for one in self.weighings), ZERO)


def share_told(
    actor: Actor, *, batch: UUID | str, line: UUID | str, material: UUID | str
) -> ShareTold:
    """One share of a batch, in a fixed number of queries. Raises NotFound, Forbidden."""
    found = batch_for(actor, batch)
    of_line = find(BatchLine.objects.filter(coop_id=actor.coop_id, batch=found), line)
    wanted = material_for(actor, material)
    exact = ZERO
    if of_line.material_id == wanted.id:
        exact = round_stored(Fraction(of_line.percent) * Fraction(found.batch_grams) / 100)
    changes = LineChange.objects.filter(coop_id=actor.coop_id, line=of_line, material=wanted)
    weighings = standing(Weighing.objects.filter(coop_id=actor.coop_id, line=of_line))
    weighings = weighings.filter(lot__material=wanted).select_related("lot")
    return ShareTold(
        found,
        of_line,
        wanted,
        exact,
        list(changes.select_related("top_up__own_material", "top_up__material").order_by("id")),
        list(weighings.order_by("id")),
    )
