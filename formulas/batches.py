"""Planning a batch: its lines, the lots to pour from, and what is short; and cancelling it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db import connection

from formulas.access import locked_batch, product_for, version_for
from formulas.errors import AlreadyFinished
from formulas.models import (
    Batch,
    BatchLine,
    BatchPackaging,
    FormulaVersion,
    Line,
    Pick,
    Product,
)
from formulas.picking import pick
from formulas.recipes import composed, density_of, fill_grams_of
from formulas.reserving import (
    Promise,
    free,
    promised_materials,
    reserve,
    stored_lots,
)
from formulas.scaling import Scaled, scale_batch, scale_output, scale_units
from ledger.access import Actor
from ledger.entries import Move, account, lock_pools, open_account, post_entry
from ledger.errors import Invalid, QuantityTooLarge, placed
from ledger.ids import new_id
from ledger.models import Account, Entry, Holding, Material
from ledger.quantities import TOO_LARGE, Quantity, grams_of
from ledger.roles import Verb

ZERO = Decimal(0)
MOST_UNITS = 1_000_000
_NUMBER = """
update ledger_maker set batches_numbered = batches_numbered + 1
 where coop_id = %s and id = %s returning mark, batches_numbered
"""


@dataclass(frozen=True, slots=True)
class Size:
    """How much is wanted, said in one of three ways: weighed in, left over, or units filled."""

    batch: Quantity | None = None
    output: Quantity | None = None
    units: int | None = None

    def scale(self, version: FormulaVersion, product: Product | None) -> Scaled:
        """The batch of this size.

        Raises DensityMissing, QuantityNotPositive, BatchTooSmall, QuantityTooLarge.
        """
        said = [n for n in ("units", "batch", "output") if getattr(self, n) is not None]
        if len(said) > 1:
            raise Invalid(
                "Say how much in one way: a batch, an output, or units.", pointer=f"/{said[1]}"
            )
        scaled = self._scaled(version, product)
        if max(scaled.batch_grams, scaled.output_grams) >= TOO_LARGE:
            raise QuantityTooLarge
        return scaled

    def _scaled(self, version: FormulaVersion, product: Product | None) -> Scaled:
        lines, loss = composed(version.lines.all()), version.process_loss_percent
        if self.units is not None and product is not None:
            if self.units > MOST_UNITS:
                raise Invalid(f"A batch fills at most {MOST_UNITS} units.", pointer="/units")
            fill = fill_grams_of(product, version)
            return scale_units(lines, self.units, fill, process_loss_percent=loss)
        for wanted, pointer, scale in (
            (self.batch, "/batch", scale_batch),
            (self.output, "/output", scale_output),
        ):
            if wanted is not None:
                grams = _grams(wanted, version, pointer)
                return scale(lines, grams, process_loss_percent=loss)
        raise Invalid("Say how much: a batch or an output of a formula, or units of a product.")

    @property
    def entered(self) -> str:
        wanted = self.batch or self.output
        return f"{self.units} units" if wanted is None else wanted.entered


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
    """A batch as it stands after planning."""

    batch: Batch
    lines: tuple[PlannedLine, ...]
    packaging: tuple[PlannedPackaging, ...]


def plan_batch(
    actor: Actor,
    *,
    planned_for: date,
    size: Size,
    formula: UUID | str | None = None,
    product: UUID | str | None = None,
) -> Planned:
    """Plan a batch of a formula or of units of a product, and reserve what it needs.

    Lots are picked first expiry first among those usable on `planned_for`. What cannot be had is
    short, and refuses nothing: a plan may be made before the goods are there. The version in
    force is the batch's for good. Raises Forbidden, NotFound, DensityMissing, Invalid.
    """
    actor.must(Verb.MAKE)
    made, version = _what(actor, formula, product, size)
    scaled = size.scale(version, made)
    batch = _new_batch(actor, version, made, size, scaled, planned_for)
    lines = [
        _line(batch, place, line, part.grams)
        for place, (line, part) in enumerate(zip(version.lines.all(), scaled.lines, strict=True))
    ]
    packaging = [
        BatchPackaging(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            batch=batch,
            position=item.position,
            material=item.material,
            per_unit=item.quantity,
        )
        for item in (made.packaging.all() if made else ())
    ]
    planned = _pick_all(actor, batch, lines, packaging)
    _write(actor, planned)
    return planned


def cancel_batch(actor: Actor, *, batch: UUID | str, reason: str, happened_at: datetime) -> Batch:
    """Cancel a planned batch: its promises are given back, and what was weighed returns to store
    at the value that it went in with.

    Raises NotFound, AlreadyFinished, Invalid for no reason.
    """
    actor.must(Verb.MAKE)
    if not reason.strip():
        raise Invalid("Say why the batch is cancelled.", pointer="/reason")
    found = locked_batch(actor, batch)
    must_be_planned(found)
    held = held_by(found)
    lock_pools(promised_materials(actor, found.account_id) | {h.material_id for h in held})
    free(actor, found.account_id)
    if held:
        found.cancel_entry_id = post_entry(
            actor,
            kind=Entry.Kind.CANCEL,
            happened_at=happened_at,
            moves=[
                Move(
                    found.account_id,
                    home_of(actor, h.lot.material),
                    h.lot_id,
                    h.quantity,
                    h.value,
                )
                for h in held
            ],
            reason=reason,
            details={"batch": str(found.id)},
        ).entry_id
    found.state = Batch.State.CANCELLED
    found.save(update_fields=["state", "cancel_entry"])
    return found


def must_be_planned(batch: Batch) -> None:
    """Raises AlreadyFinished for a batch that is finished, cancelled or scrapped."""
    if batch.state == Batch.State.FINISHED:
        raise AlreadyFinished(batch=batch.code)
    if batch.state == Batch.State.CANCELLED:
        raise AlreadyFinished(
            f"The batch {batch.code} is cancelled; plan a new one.", batch=batch.code
        )
    if batch.state == Batch.State.SCRAPPED:
        raise AlreadyFinished(
            f"The batch {batch.code} is scrapped; plan a new one, or reverse the scrap if that was"
            " the mistake.",
            batch=batch.code,
        )


def held_by(batch: Batch) -> list[Holding]:
    """What lies in a batch, each lot with its material."""
    return list(
        Holding.objects.select_related("lot__material")
        .filter(coop_id=batch.coop_id, account_id=batch.account_id, quantity__gt=0)
        .order_by("lot_id")
    )


def home_of(actor: Actor, material: Material) -> UUID:
    """Where a material is taken from and goes back to: the store, or the tap."""
    if material.stocked:
        return account(actor, Account.Kind.STORE, "store")
    return account(actor, Account.Kind.SOURCE, "drawn from the tap")


def _what(
    actor: Actor, formula: UUID | str | None, product: UUID | str | None, size: Size
) -> tuple[Product | None, FormulaVersion]:
    if (formula is None) == (product is None):
        raise Invalid("A batch is of a formula or of a product, one of them.", pointer="/formula")
    if product is not None:
        if size.units is None:
            raise Invalid("A batch of a product is planned in units.", pointer="/units")
        made = product_for(actor, product, pointer="/product")
        return made, version_for(actor, made.formula_id)
    if size.units is not None:
        raise Invalid("Units are of a product; give a batch or an output.", pointer="/units")
    return None, version_for(actor, formula or "", pointer="/formula")


def _grams(wanted: Quantity, version: FormulaVersion, pointer: str) -> Decimal:
    with placed(pointer):
        return grams_of(wanted, density=density_of(version), name=version.formula.name)


def _new_batch(
    actor: Actor,
    version: FormulaVersion,
    product: Product | None,
    size: Size,
    scaled: Scaled,
    planned_for: date,
) -> Batch:
    with connection.cursor() as cursor:
        cursor.execute(_NUMBER, [actor.coop_id, actor.maker])
        mark, number = cursor.fetchone()
    id, code = new_id(), f"{mark}{planned_for:%y}-{number:03d}"
    batch = Batch(
        id=id,
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        code=code,
        account_id=open_account(actor, Account.Kind.BATCH, str(id), label=code),
        version=version,
        product=product,
        units=size.units,
        fill_grams=None if product is None else fill_grams_of(product, version),
        planned_for=planned_for,
        asked_for=size.entered,
        batch_grams=scaled.batch_grams,
        output_grams=scaled.output_grams,
        person_id=actor.person_id,
    )
    batch.save(force_insert=True)
    return batch


def _line(batch: Batch, place: int, line: Line, grams: Decimal) -> BatchLine:
    return BatchLine(
        coop_id=batch.coop_id,
        maker_id=batch.maker_id,
        batch=batch,
        position=place,
        phase=line.phase.name,
        kind=line.kind,
        material=line.component.material if line.component else line.material,
        component=line.component,
        percent=line.percent,
        max_percent=line.max_percent,
        max_celsius=line.max_celsius,
        spent=line.spent,
        grams=grams,
    )


Picks = tuple[PlannedPick, ...]


class _Picker:
    """Picks one need after the other, each from what the one before has left."""

    def __init__(self, actor: Actor, materials: Iterable[Material], day: date) -> None:
        self.day = day
        stocked = [material.id for material in materials if material.stocked]
        lock_pools(stocked)
        stored = stored_lots(actor, stocked)
        self.left = {id: tuple(lot.pickable for lot in stored[id]) for id in stocked}

    def pick(self, material: Material, quantity: Decimal) -> tuple[Picks, Decimal]:
        """The picks and what they fall short by; what is not stocked is never short."""
        if not material.stocked:
            return (), ZERO
        picked = pick(self.left[material.id], quantity, self.day)
        self.left[material.id] = picked.lots
        picks = tuple(PlannedPick(UUID(one.lot), one.quantity) for one in picked.picks)
        return picks, picked.short


def _pick_all(
    actor: Actor, batch: Batch, lines: Sequence[BatchLine], packaging: Sequence[BatchPackaging]
) -> Planned:
    needed = [*(line.material for line in lines), *(item.material for item in packaging)]
    picker = _Picker(actor, needed, batch.planned_for)
    planned_lines = []
    for line in lines:
        picks, line.short = picker.pick(line.material, line.grams)
        planned_lines.append(PlannedLine(line, picks))
    planned_packaging = []
    for item in packaging:
        count = item.per_unit * (batch.units or 0)
        picks, item.short = picker.pick(item.material, count)
        planned_packaging.append(PlannedPackaging(item, count, picks))
    return Planned(batch, tuple(planned_lines), tuple(planned_packaging))


def _write(actor: Actor, planned: Planned) -> None:
    """Keep the plan, and promise what was picked."""
    batch = planned.batch
    BatchLine.objects.bulk_create(one.line for one in planned.lines)
    BatchPackaging.objects.bulk_create(one.packaging for one in planned.packaging)
    rows: list[tuple[BatchLine | BatchPackaging, Picks]] = []
    rows += [(one.line, one.picks) for one in planned.lines]
    rows += [(one.packaging, one.picks) for one in planned.packaging]
    Pick.objects.bulk_create(
        Pick(
            coop_id=batch.coop_id,
            maker_id=batch.maker_id,
            batch=batch,
            line=row if isinstance(row, BatchLine) else None,
            packaging=row if isinstance(row, BatchPackaging) else None,
            position=place,
            lot_id=one.lot_id,
            quantity=one.quantity,
        )
        for row, picks in rows
        for place, one in enumerate(picks)
    )
    short: dict[UUID, Decimal] = defaultdict(Decimal)
    for row, _ in rows:
        short[row.material_id] += row.short
    promises = [
        Promise(row.material_id, one.lot_id, one.quantity) for row, picks in rows for one in picks
    ]
    reserve(actor, batch.account_id, promises, short)
