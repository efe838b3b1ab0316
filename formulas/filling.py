"""Filling bulk into units of a product; what is not used stays bulk."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from formulas.access import pourable, product_for
from formulas.bulk_age import filled_late
from formulas.containers import check_warm_room
from formulas.costing import Labour
from formulas.deviations import broken_by
from formulas.drawing import Sample, check_costed, dates_of_made, draw_packaging, issue_samples
from formulas.finishing import check_value
from formulas.label_volumes import label_density, nominal_of
from formulas.leftovers import Leftover, Reconciliation, SetAside, reconcile, set_aside
from formulas.models import Filling, Product
from formulas.outcomes import check_units
from ledger.access import Actor, day_of
from ledger.costing import unit_cost
from ledger.entries import Move, account, lock_pools, open_account, post_entry
from ledger.errors import (
    DensityMissing,
    Invalid,
    LotExpired,
    LotNotReleased,
    LotOpenTooLong,
    NotEnough,
    Sentence,
    placed,
)
from ledger.lots import NewLot, hold_lot_numbers, open_lots
from ledger.measuring import Measured, density_of, measure
from ledger.models import Account, Custody, Entry, Lot, Status
from ledger.opened_lots import opens_until
from ledger.quantities import Density, Quantity, count_of
from ledger.roles import Verb
from ledger.store_costs import StoreDraw, at_cost

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Filled:
    """A fill that stands: the lot of units, and what it cost, exact.

    `nominal_grams` is what the units should hold, overfill included; what was used beyond it was
    lost or given away, and is in the cost.
    """

    filling: Filling
    lot: Lot
    status: Status
    total: Decimal
    per_unit: Decimal

    @property
    def nominal_grams(self) -> Decimal | None:
        grams: Decimal | None = self.filling.nominal_grams
        return grams


def fill(
    actor: Actor,
    *,
    product: UUID | str,
    lot: UUID | str,
    units: int,
    happened_at: datetime,
    used: Quantity | None = None,
    samples: Sequence[Sample] = (),
    heel: Leftover | None = None,
    rejects: Sequence[Leftover] = (),
    each: Quantity | None = None,
    density: Density | None = None,
    label_version: str = "",
    release_basis: str | None = None,
    deviation: str = "",
) -> Filled:
    """Fill units of a product from a lot of its bulk, with packaging and labour for each unit.

    `used` is all bulk that went in; without it, what the units should hold, by `each` if that is
    said, with heel and rejects. The heel is a normal loss, which the units carry; rejects are
    expensed, with their packaging. The lot of units lasts as long as the bulk, in quarantine unless
    released. `density` is that of the bulk as warm as it was filled, if not the lot's, `deviation`
    the reason for a lot that is not released, out of date or past its days for filling.

    Raises NotFound, Invalid for a lot of something else, DensityMissing, LotNotReleased,
    LotExpired, BulkTooOld, ContainerTooSmall, and NotEnough for bulk or packaging.
    """
    actor.must(Verb.MAKE)
    check_units(units)
    made = product_for(actor, product, pointer="/product")
    day = day_of(actor, happened_at)
    bulk = (custody := _bulk(actor, made, lot, day)).lot
    broken = broken_by(custody, day) + filled_late(bulk, day, deviation)
    known = density or density_of(bulk)
    nominal = nominal_of(made, label_density(bulk, density))
    said = _said(bulk, each, known)
    held = nominal if said is None else said
    check_warm_room(actor, made, held, density)
    aside = set_aside(bulk, heel, rejects, held, known)
    amount = _used(bulk, used, _times(held, units), aside, known)
    filled = _open_lot(actor, made, custody, day, release_basis)
    draws = _draw(actor, made, bulk, amount, units, aside, day)
    filling = _filling(actor, made, bulk, filled, amount, units, draws, aside)
    filling.nominal_grams, filling.mean_grams = _times(nominal, units), said
    filling.sample_units, filling.label_version = _counted(filled, samples), label_version
    filling.deviation, filling.overrode = deviation, broken if deviation else []
    _at_fill(filling, happened_at, density)
    filling.entry_id = _post(actor, filling, draws, amount, aside)
    return _filled(actor, filling, filled, samples, release_basis)


def _times(each: Decimal | None, units: int) -> Decimal | None:
    return None if each is None else each * units


def _at_fill(filling: Filling, happened_at: datetime, density: Density | None) -> None:
    """When it was filled, and what density the bulk then had, if that was said."""
    filling.happened_at = happened_at
    if density is not None:
        filling.density, filling.density_at = density.grams_per_millilitre, density.celsius


def _filled(
    actor: Actor,
    filling: Filling,
    lot: Lot,
    samples: Sequence[Sample],
    release_basis: str | None,
) -> Filled:
    """The fill, kept once its samples are issued."""
    details = {"product": str(filling.product_id)}
    filling.samples_entry_id = issue_samples(
        actor, lot, samples, happened_at=filling.happened_at, details=details
    )
    filling.save(force_insert=True)
    total = total_of(filling)
    status = Status.QUARANTINE if release_basis is None else Status.RELEASED
    return Filled(filling, lot, status, total, unit_cost(total, Decimal(filling.units)))


def total_of(filling: Filling) -> Decimal:
    """What the filled units carry together, exact."""
    total: Decimal = filling.bulk + filling.packaging + filling.labour
    return total


def _lock(actor: Actor, product: Product) -> None:
    """Lock all that the entry will touch, so that the bulk is as it is read until then."""
    hold_lot_numbers(actor)
    packaging = (item.material_id for item in product.packaging.all())
    lock_pools([product.formula.material_id, product.material_id, *packaging])


def _bulk(actor: Actor, product: Product, lot: UUID | str, day: date) -> Custody:
    """The bulk, locked, and open as it will be by the fill, which may be what opens it."""
    _lock(actor, product)
    custody = pourable(actor, lot)
    bulk = custody.lot
    if bulk.material_id != product.formula.material_id:
        raise Invalid(
            Sentence(
                "The lot {code} is {material}; {product} is filled with {formula}.",
                code=bulk.code,
                material=bulk.material.name,
                product=product.name,
                formula=product.formula.name,
            ),
            pointer="/lot",
        )
    custody.use_by = opens_until(actor, custody, day) or custody.use_by
    return custody


def _open_lot(
    actor: Actor, product: Product, custody: Custody, day: date, release_basis: str | None
) -> Lot:
    expires_on, note = dates_of_made(day, None, [custody])
    new = NewLot(
        material=product.material,
        arrived_on=day,
        made_in_id=custody.lot.made_in_id,
        expires_on=expires_on,
        dates_note=note,
    )
    (filled,) = open_lots(actor, [new], release_basis=release_basis)
    return filled


def _draw(
    actor: Actor,
    product: Product,
    bulk: Lot,
    amount: Measured,
    units: int,
    aside: SetAside,
    day: date,
) -> list[StoreDraw]:
    """What leaves the store: bulk for the units, heel, rejects, then packaging."""
    pieces = units + aside.reject_units
    packaging = [(item.material, item.quantity * pieces) for item in product.packaging.all()]
    poured = (amount.quantity - aside.grams, aside.heel_grams, aside.reject_grams)
    used = [StoreDraw(bulk.material_id, bulk.id, grams) for grams in poured if grams]
    drawn = draw_packaging(actor, packaging, day)
    with placed("/used", NotEnough):
        return at_cost(actor, [*used, *drawn])


def _filling(
    actor: Actor,
    product: Product,
    bulk: Lot,
    filled: Lot,
    amount: Measured,
    units: int,
    draws: Sequence[StoreDraw],
    aside: SetAside,
) -> Filling:
    """The record of the fill; the bulk of the units, its heel and rejects are the first draws."""
    labour = Labour(product.hourly_rate, minutes_per_unit=product.minutes_per_unit)
    poured, heel, rejects, packed = _parts(draws, aside)
    packaging = sum((draw.value for draw in packed), ZERO)
    spoiled = unit_cost(
        packaging, Decimal(units + aside.reject_units), per=Decimal(aside.reject_units)
    )
    return Filling(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        product=product,
        bulk_lot=bulk,
        lot=filled,
        entered=amount.entered,
        used_grams=amount.quantity,
        units=units,
        minutes_per_unit=labour.minutes_per_unit,
        hourly_rate=labour.hourly_rate,
        bulk=poured.value + heel.value,
        packaging=packaging - spoiled,
        labour=labour.cost(units),
        heel_grams=aside.heel_grams,
        heel_reason=aside.heel_reason,
        reject_grams=aside.reject_grams,
        reject_units=aside.reject_units,
        rejects=aside.rejects,
        rejected=rejects.value + spoiled,
        person_id=actor.person_id,
    )


def _parts(
    draws: Sequence[StoreDraw], aside: SetAside
) -> tuple[StoreDraw, StoreDraw, StoreDraw, Sequence[StoreDraw]]:
    """The draws told apart: for the units, the heel, the rejects, packaging; some may be none."""
    poured, *others = draws
    none = StoreDraw(poured.material_id, poured.lot_id, ZERO)
    heel = others.pop(0) if aside.heel_grams else none
    rejects = others.pop(0) if aside.reject_grams else none
    return poured, heel, rejects, others


def _said(bulk: Lot, each: Quantity | None, known: Density | None) -> Decimal | None:
    """Grams that a unit holds on the average, as whoever filled them says."""
    if each is None:
        return None
    with placed("/mean_net"):
        return measure(each, bulk.material, known).quantity


def _counted(filled: Lot, samples: Sequence[Sample]) -> int:
    """How many of the units are samples; a sample by mass is refused where it is issued."""
    counts = [
        count_of(one.quantity, name=filled.material.name)
        for one in samples
        if one.quantity.measure == "count"
    ]
    return int(sum(counts, ZERO))


def reconciled(filling: Filling, weighed: Decimal | None = None) -> Reconciliation:
    """Where the bulk of a fill went, by the weighed mean, the one that was said, or the nominal."""
    each = weighed if weighed is not None else filling.mean_grams
    if each is None and filling.nominal_grams is not None:
        each = filling.nominal_grams / filling.units
    return reconcile(
        bulk_in=filling.used_grams,
        units=filling.units,
        sample_units=filling.sample_units,
        each=each,
        heel=filling.heel_grams,
        rejects=filling.reject_grams,
    )


def _used(
    bulk: Lot,
    used: Quantity | None,
    held: Decimal | None,
    aside: SetAside,
    known: Density | None,
) -> Measured:
    """All bulk that went in; unless it is said, what the units hold with heel and rejects."""
    if used is None:
        if held is None:
            raise _no_density(bulk, known)
        grams = (held + aside.grams).quantize(Decimal("0.000001"))
        return Measured(f"{grams.normalize():f} g", grams, counted=False)
    with placed("/used"):
        measured = measure(used, bulk.material, known)
    if measured.quantity <= aside.grams:
        raise Invalid(
            "Heel and rejects are all of the bulk that was used: nothing is left for the pieces.",
            pointer="/used",
        )
    return measured


def _no_density(bulk: Lot, known: Density | None) -> DensityMissing:
    """Why nobody can say what the units should hold: there is no density, or only a warm one."""
    name = bulk.material.name
    if known is None and bulk.material.density is None:
        return DensityMissing(name=name, pointer="/used")
    return DensityMissing(
        Sentence(
            "A label's volume is judged at 20 degC, and of {name} only a density taken warmer or"
            " colder is known: give it one at 20 degC, or say in grams what went in.",
            name=name,
        ),
        name=name,
        pointer="/used",
    )


def _moves(
    actor: Actor, filling: Filling, draws: Sequence[StoreDraw], aside: SetAside
) -> list[Move]:
    """The draws out of the store, in their order, then value alone, then the lot of units.

    The heel goes to loss by its mass, and its cost comes back to what is made; what was spent on
    packaging rejects goes after them.
    """
    store = account(actor, Account.Kind.STORE, "store")
    making = account(actor, Account.Kind.MAKING, "making")
    to_heel, to_rejects = making, making
    poured, heel, rejects, packed = _parts(draws, aside)
    if heel.quantity:
        to_heel = open_account(actor, Account.Kind.LOSS, "heel")
    if filling.rejected or rejects.quantity:
        to_rejects = open_account(actor, Account.Kind.LOSS, "reject")
    places = [(poured, making), (heel, to_heel), (rejects, to_rejects)]
    places += [(draw, making) for draw in packed]
    moves = [Move(store, to, draw.lot_id, draw.quantity) for draw, to in places if draw.quantity]
    if heel.value:
        moves.append(Move(to_heel, making, None, ZERO, heel.value))
    if filling.rejected > rejects.value:
        moves.append(Move(making, to_rejects, None, ZERO, filling.rejected - rejects.value))
    if filling.labour:
        labour = account(actor, Account.Kind.LABOUR, "labour absorbed")
        moves.append(Move(labour, making, None, ZERO, filling.labour))
    moves.append(Move(making, store, filling.lot_id, Decimal(filling.units), total_of(filling)))
    return moves


def _post(
    actor: Actor,
    filling: Filling,
    draws: Sequence[StoreDraw],
    amount: Measured,
    aside: SetAside,
) -> UUID:
    """Raises MoneyTooLarge, NotEnough, LotNotReleased, LotExpired."""
    check_value(total_of(filling))
    details: dict[str, Any] = {
        "product": str(filling.product_id),
        "units": filling.units,
        **amount.facts(),
    }
    if filling.overrode:
        details["overrode"] = filling.overrode
    if filling.density is not None:
        details["fill_density"] = f"{filling.density:f}"
    if aside.heel_grams:
        details["heel"] = {"grams": f"{aside.heel_grams:f}", "reason": aside.heel_reason}
    if aside.rejects:
        details["rejects"] = aside.rejects
    with placed("/used", NotEnough), placed("/lot", LotNotReleased, LotExpired, LotOpenTooLong):
        posted = post_entry(
            actor,
            kind=Entry.Kind.FILL,
            happened_at=filling.happened_at,
            moves=_moves(actor, filling, draws, aside),
            reason="; ".join(aside.reasons)[:400],
            deviation=filling.deviation,
            details=details,
        )
    check_costed(posted, draws, first=0)
    return posted.entry_id
