"""Of which lots a line of a batch is: those that were poured, and what is still promised to it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any
from uuid import UUID

from formulas.models import Batch, BatchLine, Pick
from formulas.pouring import still_to_pour
from formulas.shares import Chosen, Share
from ledger.models import Lot, Status


def picks_of(share: Share, lots: Chosen) -> list[Pick]:
    """The lots that were chosen for a line, of this material of it."""
    return [one for one in lots.picks(share.line) if one.lot.material_id == share.material.id]


def pours_of(batch: Batch, share: Share, lots: Chosen) -> Sequence[tuple[Pick, Decimal]]:
    """What is still to be poured, in grams, of each of those lots; its weighings are at hand."""
    picks = picks_of(share, lots)
    picked = [(one.lot_id, one.quantity) for one in picks]
    left = still_to_pour(picked, _since(batch, share.line, lots), share.still)
    return [(one, grams) for one, grams in zip(picks, left, strict=True) if grams]


def lots_of(batch: Batch, share: Share, lots: Chosen) -> list[Lot]:
    """The lots that this material of a line is of.

    What was poured comes first. What was chosen counts only as long as it is still wanted: another
    lot may have gone in instead, and after the end nothing more is poured.
    """
    poured: dict[Lot, Decimal] = defaultdict(Decimal)
    for one in batch.weighings.all():
        if one.line_id == share.line.id and one.lot.material_id == share.material.id:
            poured[one.lot] += one.quantity
    found = [lot for lot, grams in poured.items() if grams > 0]
    if batch.state == Batch.State.PLANNED and not share.is_in:
        found += [one.lot for one, _ in pours_of(batch, share, lots)]
    return list(dict.fromkeys(found))


def is_barred(batch: Batch, pick: Pick) -> bool:
    """Whether a lot that was chosen may not be used any more on the day of its batch.

    The pick comes with its status and with the last day on which its lot may be used.
    """
    found: Any = pick
    is_off = found.ends is not None and found.ends < batch.planned_for
    return bool(is_off or found.status != Status.RELEASED)


def codes_of(lots: Iterable[Lot]) -> list[str]:
    """Their codes; what runs from a tap has none to look for."""
    return [lot.code for lot in lots if lot.material.stocked]


def _since(batch: Batch, line: BatchLine, lots: Chosen) -> dict[UUID, Decimal]:
    """What went into a line of each lot since its lots were chosen, in grams."""
    poured: dict[UUID, Decimal] = defaultdict(Decimal)
    for one in batch.weighings.all():
        if one.line_id == line.id and (lots.picking is None or one.id > lots.picking.id):
            poured[one.lot_id] += one.quantity
    return poured
