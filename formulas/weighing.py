"""Weighing into a batch, and back out of it."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, Sum

from formulas.access import locked_batch, pourable, standing
from formulas.batches import home_of, must_be_planned
from formulas.covered import must_cover
from formulas.deviations import Rule, broken_by
from formulas.earlier_lots import EarlierLot, earlier_lot
from formulas.effect import Effect, effect_of, overrun
from formulas.errors import OverMaximum
from formulas.heat import Heat, heat_of
from formulas.models import Batch, BatchLine, Picking, Weighing
from formulas.pot import pot_of
from formulas.repromising import promise_again
from formulas.reserving import standing_lot
from formulas.still_short import lessen_shortfall
from formulas.wanting import not_wanted, poured_for, wants
from ledger.access import Actor, day_of, find, lot_for, material_for
from ledger.costing import round_stored
from ledger.entries import Move, Posted, post_entry
from ledger.errors import (
    Invalid,
    LotExpired,
    LotNotReleased,
    LotOpenTooLong,
    MoneyTooLarge,
    NotEnough,
    NotFound,
    Sentence,
    placed,
)
from ledger.ids import same_id
from ledger.measuring import Measured, density_of, measure
from ledger.models import Custody, Entry, Lot, Material
from ledger.money import TOO_MUCH_MONEY
from ledger.opened_lots import opened_until, opens_until
from ledger.quantities import Quantity
from ledger.roles import Verb

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Weighed:
    """A weighing that stands; `value` is what went into the batch with it.

    `effect` says how a line to effect stands after it, and `heat` how hot the batch was, where the
    line has a maximum. `earlier` is an older lot that could have been poured instead.
    `opened_until` is by when a lot is to be used that was opened with it; None of others.
    """

    weighing: Weighing
    batch: Batch
    lot: Lot
    line: BatchLine | None
    value: Decimal
    effect: Effect | None = None
    heat: Heat | None = None
    earlier: EarlierLot | None = None
    opened_until: date | None = None

    @property
    def headroom_grams(self) -> Decimal | None:
        """What may still be added of a line to effect; None where nothing limits it."""
        return self.effect.headroom_grams if self.effect else None


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
    only: Collection[Rule] | None = None,
) -> Weighed:
    """Weigh so much of a lot into a planned batch.

    Without a line it is an addition of `material` that the formula does not list; without a lot
    the material must be one that is not stocked. A volume becomes grams by the lot's own density,
    else the material's. `deviation` is the reason for using a lot that is not released or out of
    date or of a material that the line does not want, for passing a line's maximum or its
    temperature, or for an addition, and which of these it overrode is kept beside it; a rejected
    lot is barred whatever the reason. Where the reason is for `only` some rules, another that is
    broken by the lot is refused as without a reason. To pour before an older lot that may be used
    is kept beside the weighing too, with or without a reason, and never refused.

    Raises NotFound, AlreadyFinished, Invalid, DensityMissing, OverMaximum, TooHot, NotEnough,
    LotNotReleased, LotExpired, LotOpenTooLong.
    """
    actor.must(Verb.MAKE)
    found, of_line = place(actor, batch, line)
    day = day_of(actor, happened_at)
    poured, broken, custody = _lot(actor, of_line, lot, material, day, deviation)
    if only is not None:
        must_cover(only, broken, custody, opens_until(actor, custody, day))
    measured = _measured(quantity, poured)
    effect, over = _added_to_effect(found, of_line, measured.quantity)
    heat, too_hot = heat_of(found, of_line, happened_at)
    for rule, refusal in ((Rule.MAXIMUM_PERCENT, over), (Rule.MAXIMUM_TEMPERATURE, too_hot)):
        if refusal is not None and not deviation:
            raise refusal
        broken += [rule] if refusal is not None else []
    broken += [Rule.NOT_IN_FORMULA] if of_line is None else []
    earlier = earlier_lot(actor, found, of_line, poured, day, custody.use_by if custody else None)
    noted = [Rule.NEWER_LOT] if earlier else []
    why = _Deviation(deviation, [*(broken if deviation else []), *noted])
    posted = _draw(actor, found, poured, measured, happened_at, why)
    if of_line is not None and (of_line.short or getattr(of_line, "repicked", False)):
        lessen_shortfall(found, poured.material_id)
    weighing = _keep(actor, found, of_line, poured, measured, posted, happened_at, why)
    until = opened_until(actor, custody, day, posted.entry_id)
    told = (posted.values[0], effect, heat, earlier, until)
    return Weighed(weighing, found, poured, of_line, *told)


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
    found, of_line = place(actor, batch, line)
    poured = lot_for(actor, lot, pointer="/lot")
    measured = _measured(quantity, poured)
    if of_line is None:
        of_line = _last_line(found, poured)
    elif of_line.material_id != poured.material_id and not poured_for(of_line, poured):
        # The shares of what is added to effect are reckoned by what stands on each line.
        other = Sentence(
            "The lot {code} is {material}, and this line wants {wanted}: name the line that it was"
            " weighed for, or none.",
            code=poured.code,
            material=poured.material.name,
            wanted=of_line.material.name,
        )
        raise Invalid(other, pointer="/line")
    if line is not None:
        _check_on_line(found, of_line, poured, measured.quantity)
    home = home_of(actor, poured.material)
    with placed("/quantity", NotEnough):
        posted = post_entry(
            actor,
            kind=Entry.Kind.WEIGH_BACK,
            happened_at=happened_at,
            moves=[Move(found.account_id, home, poured.id, measured.quantity)],
            reason=reason,
            details={"batch": str(found.id), **measured.facts()},
        )
    promise_again(actor, found, [posted.entry_id])
    none = _Deviation()
    effect, _ = _added_to_effect(found, of_line, -measured.quantity)
    weighing = _keep(actor, found, of_line, poured, measured, posted, happened_at, none, sign=-1)
    return Weighed(weighing, found, poured, of_line, -posted.values[0], effect)


def place(
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
        .annotate(repicked=Exists(Picking.objects.filter(batch_id=OuterRef("batch_id"))))
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
    day: date,
    deviation: str,
) -> tuple[Lot, list[Rule], Custody | None]:
    """The lot that was poured, which must be of a material that the line wants.

    With it the rules that using it that day breaks; without a deviation the ledger refuses it. And
    its custody, but for what is not stocked.
    """
    wanted: Material | None = None if line is None else line.material
    if line is None and material is not None:
        wanted = material_for(actor, material, pointer="/material")
    if lot is None:
        if wanted is None:
            raise Invalid("Say what was weighed: a line, or a material.", pointer="/material")
        if wanted.stocked:
            raise Invalid(
                Sentence("Say which lot of {wanted} was weighed.", wanted=wanted.name),
                pointer="/lot",
            )
        return standing_lot(actor, wanted, day), [], None
    custody = pourable(actor, lot)
    poured: Lot = custody.lot
    broken = broken_by(custody, day)
    # What was drawn before anybody knew for how long it lasts, may have opened it too long ago.
    until = opens_until(actor, custody, day) if deviation else None
    if until is not None and until < day:
        broken.append(Rule.OPEN_TOO_LONG)
    if wanted is not None and not wants(line, wanted, poured):
        if line is None or not deviation:
            raise not_wanted(line, wanted, poured)
        broken.append(Rule.LINE_MATERIAL)
    return poured, broken, custody


def _added_to_effect(
    batch: Batch, line: BatchLine | None, grams: Decimal
) -> tuple[Effect | None, OverMaximum | None]:
    """How a line to effect stands after so many grams more, and the refusal if they are too many.

    Neither for any other line.
    """
    if line is None or line.max_percent is None:
        return None, None
    pot = pot_of(batch, line)
    over = overrun(pot, grams, line.max_percent, line.material.name)
    return effect_of(pot, grams, line.max_percent), over


def _measured(quantity: Quantity, lot: Lot) -> Measured:
    """What was typed, in grams. Raises Invalid for what is counted, DensityMissing."""
    if lot.material.counted:
        raise Invalid(
            Sentence(
                "{material} is counted, and what goes into a batch is weighed.",
                material=lot.material.name,
            ),
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
    with placed("/quantity", NotEnough), placed("/lot", LotNotReleased, LotExpired, LotOpenTooLong):
        return post_entry(
            actor,
            kind=Entry.Kind.DRAW,
            happened_at=happened_at,
            moves=[Move(home, batch.account_id, lot.id, measured.quantity, value)],
            deviation=why.reason,
            details=details,
        )


def _check_on_line(batch: Batch, line: BatchLine | None, lot: Lot, grams: Decimal) -> None:
    """No more comes back off a line than stands on it. Raises NotEnough."""
    rows = standing(Weighing.objects.filter(batch=batch, line=line, lot=lot))
    there = rows.aggregate(together=Sum("quantity"))["together"] or ZERO
    if grams > there:
        raise NotEnough(
            Sentence(
                "Only {left:f} g of the lot {code} were weighed for this line: take that back,"
                " and the rest off the line it was weighed for.",
                left=max(there, ZERO).normalize(),
                code=lot.code,
            ),
            pointer="/quantity",
            lot=str(lot.id),
            left=f"{there:f}",
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
