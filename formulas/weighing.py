"""Weighing into a batch, and back out of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction
from typing import Any, Final
from uuid import UUID

from django.db import connection

from formulas.access import locked_batch, pourable, standing
from formulas.batches import home_of, must_be_planned
from formulas.deviations import Rule, broken_by
from formulas.errors import OverMaximum
from formulas.models import Batch, BatchLine, Weighing
from formulas.repromising import promise_again
from formulas.reserving import standing_lot
from formulas.scaling import check_maximum, most_to_effect
from ledger.access import Actor, day_of, find, lot_for, material_for
from ledger.costing import round_stored
from ledger.entries import Move, Posted, post_entry
from ledger.errors import (
    Invalid,
    LotExpired,
    LotNotReleased,
    MoneyTooLarge,
    NotEnough,
    NotFound,
    placed,
)
from ledger.ids import same_id
from ledger.measuring import Measured, density_of, measure
from ledger.models import Entry, Lot, Material
from ledger.money import TOO_MUCH_MONEY
from ledger.quantities import Quantity
from ledger.roles import Verb

ZERO = Decimal(0)
# A batch that was planned short keeps asking for what it lacks until that is weighed too.
_STILL_SHORT: Final = """
update ledger_shortfall s
   set quantity = greatest(0, least(s.quantity, n.needed - h.weighed - r.reserved))
  from (select sum(grams) as needed from formulas_batchline
          where coop_id = %(coop)s and batch_id = %(batch)s and material_id = %(material)s) n,
       (select coalesce(sum(quantity), 0) as weighed from ledger_holding
          where coop_id = %(coop)s and account_id = %(account)s and material_id = %(material)s) h,
       (select coalesce(sum(quantity), 0) as reserved from ledger_reservation
          where coop_id = %(coop)s and account_id = %(account)s and material_id = %(material)s) r
 where s.coop_id = %(coop)s and s.account_id = %(account)s and s.material_id = %(material)s
"""
# Grams of the other lines and additions, and of one line, as far as the entries stand.
_MASSES: Final = """
with weighed as (
  select w.line_id, sum(w.quantity) as grams from formulas_weighing w
    where w.coop_id = %(coop)s and w.batch_id = %(batch)s
      and not exists (select from ledger_entry e
                        where e.coop_id = w.coop_id and e.reverses_id = w.entry_id)
    group by w.line_id)
select coalesce(sum(coalesce(nullif(w.grams, 0), l.grams)) filter (where l.id <> %(line)s), 0)
         + coalesce((select grams from weighed where line_id is null), 0),
       coalesce((select grams from weighed where line_id = %(line)s), 0)
  from formulas_batchline l left join weighed w on w.line_id = l.id
 where l.coop_id = %(coop)s and l.batch_id = %(batch)s
"""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A weighing that stands; `headroom_grams` is what may still be added of a line to effect.

    `value` is what went into the batch with it.
    """

    weighing: Weighing
    batch: Batch
    lot: Lot
    line: BatchLine | None
    value: Decimal
    headroom_grams: Decimal | None = None


@dataclass(frozen=True, slots=True)
class _Deviation:
    """Why rules were not kept, and which; a reason may stand where none was in the way."""

    reason: str = ""
    overrode: Sequence[Rule] = ()


def weigh(
    actor: Actor,
    *,
    batch: UUID | str,
    quantity: Quantity,
    happened_at: datetime,
    line: UUID | str | None = None,
    lot: UUID | str | None = None,
    material: UUID | str | None = None,
    deviation: str = "",
) -> Weighed:
    """Weigh so much of a lot into a planned batch.

    Without a line it is an addition of `material` that the formula does not list; without a lot
    the material must be one that is not stocked. A volume becomes grams by the lot's own density,
    else the material's. `deviation` is the reason for using a lot that is not released or out of
    date, or for passing a line's maximum, and which of these it overrode is kept beside it; a
    rejected lot is barred whatever the reason.

    Raises NotFound, AlreadyFinished, Invalid, DensityMissing, OverMaximum, NotEnough,
    LotNotReleased, LotExpired.
    """
    actor.must(Verb.MAKE)
    found, of_line = _place(actor, batch, line)
    poured, broken = _lot(actor, of_line, lot, material, happened_at)
    measured = _measured(quantity, poured)
    headroom = None
    if of_line is not None and _limited(of_line):
        headroom, over = _headroom(found, of_line, measured.quantity)
        if over is not None and not deviation:
            raise over
        broken += [Rule.MAXIMUM_PERCENT] if over is not None else []
    why = _Deviation(deviation, broken if deviation else [])
    posted = _draw(actor, found, poured, measured, happened_at, why)
    if of_line is not None and of_line.short:
        _lessen_shortfall(found, of_line)
    weighing = _keep(actor, found, of_line, poured, measured, posted, happened_at, why)
    return Weighed(weighing, found, poured, of_line, posted.values[0], headroom)


def weigh_back(
    actor: Actor,
    *,
    batch: UUID | str,
    quantity: Quantity,
    happened_at: datetime,
    lot: UUID | str,
    line: UUID | str | None = None,
    reason: str = "",
) -> Weighed:
    """Take so much of a lot back out of a planned batch, to where it came from.

    It goes back at the value that it went in with, and without a line it is taken off the line
    that the lot was last weighed for. A lot that was rejected meanwhile may come back, too: that is
    how it leaves the batch. Raises NotFound, AlreadyFinished, Invalid for a line that wants another
    material, DensityMissing, and NotEnough when less than that is in the batch.
    """
    actor.must(Verb.MAKE)
    found, of_line = _place(actor, batch, line)
    poured = lot_for(actor, lot, pointer="/lot")
    measured = _measured(quantity, poured)
    if of_line is None:
        of_line = _last_line(found, poured)
    elif of_line.material_id != poured.material_id:
        # The shares of what is added to effect are reckoned by what stands on each line.
        raise Invalid(
            f"The lot {poured.code} is {poured.material.name}, and this line wants"
            f" {of_line.material.name}: name the line that it was weighed for, or none.",
            pointer="/line",
        )
    with placed("/quantity", NotEnough):
        posted = post_entry(
            actor,
            kind=Entry.Kind.WEIGH_BACK,
            happened_at=happened_at,
            moves=[
                Move(
                    found.account_id,
                    home_of(actor, poured.material),
                    poured.id,
                    measured.quantity,
                )
            ],
            reason=reason,
            details={"batch": str(found.id), **measured.facts()},
        )
    promise_again(actor, found, [posted.entry_id])
    none = _Deviation()
    weighing = _keep(actor, found, of_line, poured, measured, posted, happened_at, none, sign=-1)
    return Weighed(weighing, found, poured, of_line, -posted.values[0])


def _place(
    actor: Actor, batch: UUID | str, line: UUID | str | None
) -> tuple[Batch, BatchLine | None]:
    """The batch, locked, and the line of it, in one query."""
    if line is None:
        found = locked_batch(actor, batch)
        must_be_planned(found)
        return found, None
    rows = (
        BatchLine.objects.select_for_update(of=("batch",), no_key=True)
        .select_related("batch", "material")
        .filter(maker_id=actor.maker)
    )
    try:
        of_line = find(rows, line, pointer="/line")
    except NotFound:
        locked_batch(actor, batch)
        raise
    if not same_id(batch, of_line.batch_id):
        locked_batch(actor, batch)
        raise NotFound(pointer="/line")
    must_be_planned(of_line.batch)
    return of_line.batch, of_line


def _lot(
    actor: Actor,
    line: BatchLine | None,
    lot: UUID | str | None,
    material: UUID | str | None,
    happened_at: datetime,
) -> tuple[Lot, list[Rule]]:
    """The lot that was poured, which must be of the material that the line wants.

    With it the rules that using it that day breaks; without a deviation the ledger refuses it.
    """
    day = day_of(actor, happened_at)
    wanted: Material | None = None if line is None else line.material
    if line is None and material is not None:
        wanted = material_for(actor, material, pointer="/material")
    if lot is None:
        if wanted is None:
            raise Invalid("Say what was weighed: a line, or a material.", pointer="/material")
        if wanted.stocked:
            raise Invalid(f"Say which lot of {wanted.name} was weighed.", pointer="/lot")
        return standing_lot(actor, wanted, day), []
    custody = pourable(actor, lot)
    poured: Lot = custody.lot
    if wanted is not None and poured.material_id != wanted.id:
        raise Invalid(
            f"The lot {poured.code} is {poured.material.name}, and this line wants {wanted.name}:"
            " name another lot, or weigh it in as an addition, without a line.",
            pointer="/lot",
        )
    return poured, broken_by(custody, day)


def _limited(line: BatchLine) -> bool:
    return line.max_percent is not None and line.max_percent < 100


def _headroom(batch: Batch, line: BatchLine, grams: Decimal) -> tuple[Decimal, OverMaximum | None]:
    """Grams that may be added of a line after these, and the refusal if these pass its maximum.

    The share is taken on the final mass: this line with what is added now, and beside it every
    other line with what was weighed, or with its planned mass as long as nothing of it was, and
    all additions. A line weighed in part counts with that part, so finish the others first.
    """
    others, own = _masses(batch, line)
    left = max(ZERO, most_to_effect(others, line.max_percent) - own)
    try:
        check_maximum(own + grams, others, line.max_percent)
    except OverMaximum as refusal:
        return ZERO, OverMaximum(
            f"This would make {refusal.facts['percent']:.4f} % of {line.material.name}, above"
            f" the maximum of {line.max_percent.normalize():f} %: at most"
            f" {left.quantize(Decimal('0.01'), ROUND_DOWN)} g more may be added."
            " Add less, or record a deviation.",
            pointer="/quantity",
            **refusal.facts,
            left=left,
        )
    return max(ZERO, left - grams), None


def _masses(batch: Batch, line: BatchLine) -> tuple[Decimal, Decimal]:
    """Grams of all other lines and additions, and of this line, as they stand in the batch."""
    with connection.cursor() as cursor:
        cursor.execute(_MASSES, {"coop": batch.coop_id, "batch": batch.id, "line": line.id})
        others, own = cursor.fetchone()
    return others, own


def _measured(quantity: Quantity, lot: Lot) -> Measured:
    """What was typed, in grams. Raises Invalid for what is counted, DensityMissing."""
    if lot.material.counted:
        raise Invalid(
            f"{lot.material.name} is counted, and what goes into a batch is weighed.",
            pointer="/lot",
        )
    with placed("/quantity"):
        return measure(quantity, lot.material, density_of(lot))


def _draw(
    actor: Actor,
    batch: Batch,
    lot: Lot,
    measured: Measured,
    happened_at: datetime,
    why: _Deviation,
) -> Posted:
    """Move what was weighed from where it lies into the batch."""
    home, value = home_of(actor, lot.material), _given_value(lot.material, measured.quantity)
    details: dict[str, Any] = {"batch": str(batch.id), **measured.facts()}
    if why.overrode:
        details["overrode"] = list(why.overrode)
    with placed("/quantity", NotEnough), placed("/lot", LotNotReleased, LotExpired):
        return post_entry(
            actor,
            kind=Entry.Kind.DRAW,
            happened_at=happened_at,
            moves=[Move(home, batch.account_id, lot.id, measured.quantity, value)],
            deviation=why.reason,
            details=details,
        )


def _last_line(batch: Batch, lot: Lot) -> BatchLine | None:
    """The line that a lot was last weighed for; None after an addition."""
    rows = Weighing.objects.select_related("line__material").filter(batch=batch, lot=lot)
    last = standing(rows.filter(quantity__gt=0)).order_by("id").last()
    return last.line if last else None


def _given_value(material: Material, grams: Decimal) -> Decimal | None:
    """What is not stocked costs what the catalogue says; what is stocked, what its layers say."""
    if material.stocked:
        return None
    value = round_stored(Fraction(material.cost_per_kg or 0) * Fraction(grams) / 1000)
    if value >= TOO_MUCH_MONEY:
        raise MoneyTooLarge(pointer="/quantity")
    return value


def _lessen_shortfall(batch: Batch, line: BatchLine) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            _STILL_SHORT,
            {
                "coop": batch.coop_id,
                "batch": batch.id,
                "account": batch.account_id,
                "material": line.material_id,
            },
        )


def _keep(
    actor: Actor,
    batch: Batch,
    line: BatchLine | None,
    lot: Lot,
    measured: Measured,
    posted: Posted,
    happened_at: datetime,
    why: _Deviation,
    *,
    sign: int = 1,
) -> Weighing:
    weighing = Weighing(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        batch=batch,
        line=line,
        lot=lot,
        entered=measured.entered,
        quantity=sign * measured.quantity,
        density=measured.density and measured.density.grams_per_millilitre,
        density_at=measured.density and measured.density.celsius,
        density_of=measured.density_of,
        entry_id=posted.entry_id,
        deviation=why.reason,
        overrode=list(why.overrode),
        happened_at=happened_at,
        person_id=actor.person_id,
    )
    weighing.save(force_insert=True)
    return weighing
