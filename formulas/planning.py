"""Which lots a new batch is to be poured from, and what is short; then all of it is kept."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from formulas.at_hand import keep_at_hand
from formulas.candidates import Candidates, candidates
from formulas.models import Batch, BatchLine, BatchPackaging, Pick
from formulas.picking import PickableLot, pick
from formulas.reserving import Promise, promised
from formulas.short_batches import LOOK
from ledger.access import Actor
from ledger.alerts import enqueue_checks
from ledger.models import Account, Material
from ledger.writing import write_together

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class PlannedPick:
    """So much to pour from one lot."""

    lot_id: UUID
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class PlannedLine:
    """A line as planned, with its picks and what they fall short by."""

    line: BatchLine
    picks: tuple[PlannedPick, ...]


@dataclass(frozen=True, slots=True)
class PlannedPackaging:
    """Packaging as planned: pieces for all units, with its picks."""

    packaging: BatchPackaging
    count: Decimal
    picks: tuple[PlannedPick, ...]


@dataclass(frozen=True, slots=True)
class Planned:
    """A batch as it stands after planning; `lots` are those it could pour from, before it did.

    The batch has all that belongs to it at hand.
    """

    batch: Batch
    lines: tuple[PlannedLine, ...]
    packaging: tuple[PlannedPackaging, ...]
    lots: Mapping[UUID, list[PickableLot]]


Picks = tuple[PlannedPick, ...]


def plan_lots(
    actor: Actor, batch: Batch, lines: Sequence[BatchLine], packaging: Sequence[BatchPackaging]
) -> Planned:
    """Pick the lots for a new batch, promise them, and write the batch with all that is its.

    The pools are locked by then. Three queries, whatever there is.
    """
    counts = [item.per_unit * (batch.units or 0) for item in packaging]
    needed: dict[UUID, Decimal] = defaultdict(Decimal)
    for material, quantity in (
        *((line.material, line.grams) for line in lines),
        *((item.material, count) for item, count in zip(packaging, counts, strict=True)),
    ):
        if material.stocked:
            needed[material.id] += quantity
    found = candidates(actor, needed, batch.planned_for)
    picker = _Picker(found, batch.planned_for)
    planned = Planned(
        batch=batch,
        lines=tuple(picker.line(line) for line in lines),
        packaging=tuple(
            picker.packaging(item, count) for item, count in zip(packaging, counts, strict=True)
        ),
        lots=found.pickable,
    )
    _write(actor, planned, found)
    return planned


class _Picker:
    """Picks one need after the other, each from what the one before has left."""

    def __init__(self, found: Candidates, day: date) -> None:
        self.day = day
        self.left: dict[UUID, Sequence[PickableLot]] = dict(found.pickable)

    def line(self, line: BatchLine) -> PlannedLine:
        """The picks of a line, with what it lacks kept on it."""
        picks, line.short = self._pick(line.material, line.grams)
        return PlannedLine(line, picks)

    def packaging(self, item: BatchPackaging, count: Decimal) -> PlannedPackaging:
        """The same for so many pieces of packaging."""
        picks, item.short = self._pick(item.material, count)
        return PlannedPackaging(item, count, picks)

    def _pick(self, material: Material, quantity: Decimal) -> tuple[Picks, Decimal]:
        """The picks and what they fall short by; what is not stocked is never short."""
        if not material.stocked:
            return (), ZERO
        picked = pick(self.left.get(material.id, ()), quantity, self.day)
        self.left[material.id] = picked.lots
        picks = tuple(PlannedPick(UUID(one.lot), one.quantity) for one in picked.picks)
        return picks, picked.short


def _write(actor: Actor, planned: Planned, found: Candidates) -> None:
    """Keep the plan, and promise what was picked."""
    batch = planned.batch
    rows: list[tuple[BatchLine | BatchPackaging, Picks]] = []
    rows += [(one.line, one.picks) for one in planned.lines]
    rows += [(one.packaging, one.picks) for one in planned.packaging]
    every = [one for row, of_row in rows for one in _picks(row, of_row, found)]
    short: dict[UUID, Decimal] = defaultdict(Decimal)
    for row, _ in rows:
        short[row.material_id] += row.short
    promises = [
        Promise(row.material_id, one.lot_id, one.quantity) for row, of_row in rows for one in of_row
    ]
    reservations, lacking = promised(actor, batch.account_id, promises, short)
    lines = [one.line for one in planned.lines]
    packaging = [one.packaging for one in planned.packaging]
    write_together([_account(batch)], [batch], lines, packaging, every, reservations, lacking)
    enqueue_checks(actor, short, (LOOK, batch.account_id) if lacking else None)
    for line in lines:
        keep_at_hand(line, words=())
    keep_at_hand(batch, lines=lines, packaging=packaging, picks=every)
    keep_at_hand(batch, changes=(), pickings=(), top_ups=(), weighings=(), measurements=())


def _account(batch: Batch) -> Account:
    """Where what is weighed in will lie."""
    return Account(
        id=batch.account_id,
        coop_id=batch.coop_id,
        maker_id=batch.maker_id,
        kind=Account.Kind.BATCH,
        name=batch.code,
    )


def _picks(row: BatchLine | BatchPackaging, picks: Picks, found: Candidates) -> list[Pick]:
    return [
        Pick(
            coop_id=row.coop_id,
            maker_id=row.maker_id,
            batch=row.batch,
            line=row if isinstance(row, BatchLine) else None,
            packaging=row if isinstance(row, BatchPackaging) else None,
            position=place,
            lot=found.lots[one.lot_id],
            quantity=one.quantity,
        )
        for place, one in enumerate(picks)
    ]
