"""What a planned batch lacks of a material, and what of it lies in store by now, in parts."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from uuid import UUID

from formulas.access import batch_for, batches_of
from formulas.lacking import Lacking, short_batches
from formulas.models import Batch
from formulas.reserving import free_lots, promised_lots
from formulas.shares import shares_of
from ledger.access import Actor
from ledger.errors import NotFound
from ledger.models import Lot

ZERO: Final = Decimal(0)
# So many batches, itself and those whose day comes first, share what is free.
MOST: Final = 100


@dataclass(frozen=True, slots=True)
class LackTold:
    """In grams or pieces: what the batch wants of a material, what of it was weighed, and what lots
    are promised to it and may be used on its day; and what lots are free then, whoever takes of
    them."""

    batch: Batch
    lacking: Lacking
    wanted: Decimal
    weighed: Decimal
    promised: Sequence[tuple[Lot, Decimal]]
    free: Sequence[tuple[Lot, Decimal]]


def lacks_of(actor: Actor, batch: UUID | str) -> Sequence[Lacking]:
    """All that a batch lacks, none of one that is not planned. Raises NotFound, and Forbidden."""
    found = batch_for(actor, batch)
    before = batches_of(actor).filter(state=Batch.State.PLANNED, planned_for__lte=found.planned_for)
    planned = list(before.order_by("planned_for", "id")[:MOST])
    if found.state == Batch.State.PLANNED and found not in planned:
        planned[-1] = found
    return next((one.lacks for one in short_batches(actor, planned) if one.batch == found), ())


def lack_told(actor: Actor, *, batch: UUID | str, material: UUID | str) -> LackTold:
    """Raises NotFound where the batch lacks none of the material, and Forbidden."""
    lacks = lacks_of(actor, batch)
    lacking = next((one for one in lacks if str(one.material_id) == str(material)), None)
    if lacking is None:
        raise NotFound
    found = batch_for(actor, batch)
    id = lacking.material_id
    shares = [one for one in shares_of(found) if one.material.id == id]
    pieces = (one.per_unit * (found.units or 0) for one in found.packaging.filter(material_id=id))
    return LackTold(
        batch=found,
        lacking=lacking,
        wanted=sum((one.grams for one in shares), ZERO) + sum(pieces, ZERO),
        weighed=sum((one.weighed for one in shares), ZERO),
        promised=promised_lots(actor, id, found.account_id, found.planned_for),
        free=free_lots(actor, id, found.planned_for),
    )
