"""Filling bulk into units of a product; what is not used stays bulk."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from formulas.access import pourable, product_for
from formulas.costing import Labour
from formulas.deviations import broken_by
from formulas.drawing import (
    Sample,
    StoreDraw,
    at_cost,
    check_costed,
    dates_of_made,
    draw_packaging,
    issue_samples,
    moves_of,
)
from formulas.finishing import check_units, check_value
from formulas.models import Filling, Product
from formulas.scaling import fill_of_mass, fill_of_volume
from ledger.access import Actor, day_of
from ledger.costing import unit_cost
from ledger.entries import Move, account, lock_pools, post_entry
from ledger.errors import DensityMissing, Invalid, LotExpired, LotNotReleased, NotEnough, placed
from ledger.lots import NewLot, open_lots
from ledger.measuring import Measured, density_of, measure
from ledger.models import Account, Custody, Entry, Lot, Status
from ledger.quantities import Quantity
from ledger.roles import Verb

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
    release_basis: str | None = None,
    deviation: str = "",
) -> Filled:
    """Fill units of a product from a lot of its bulk, with packaging and labour for each unit.

    `used` is all bulk that went, loss at filling included; without it, what the units should hold.
    The lot of units lasts as long as the bulk, and is in quarantine unless released. Labour by the
    batch and overhead were the batch's. `deviation` is the reason for filling from a lot that is
    not released or out of date, and which of these it overrode is kept beside it.

    Raises NotFound, Invalid for a lot of something else, DensityMissing, LotNotReleased,
    LotExpired, and NotEnough for bulk or naming the packaging that is missing.
    """
    actor.must(Verb.MAKE)
    check_units(units)
    made = product_for(actor, product, pointer="/product")
    custody = _bulk(actor, made, lot)
    bulk = custody.lot
    nominal = _nominal(made, bulk, units)
    amount = _used(bulk, used, nominal)
    filled = _open_lot(actor, made, bulk, happened_at, release_basis)
    draws = _draw(actor, made, bulk, filled, amount, units, happened_at)
    filling = _filling(actor, made, bulk, filled, amount, units, draws)
    filling.happened_at, filling.nominal_grams = happened_at, nominal
    filling.deviation = deviation
    filling.overrode = broken_by(custody, day_of(actor, happened_at)) if deviation else []
    check_value(total_of(filling))
    filling.entry_id = _post(actor, filling, draws, amount)
    filling.samples_entry_id = issue_samples(
        actor, filled, samples, happened_at=happened_at, details={"product": str(made.id)}
    )
    filling.save(force_insert=True)
    total = total_of(filling)
    status = Status.QUARANTINE if release_basis is None else Status.RELEASED
    return Filled(filling, filled, status, total, unit_cost(total, Decimal(units)))


def total_of(filling: Filling) -> Decimal:
    """What the filled units carry together, exact."""
    total: Decimal = filling.bulk + filling.packaging + filling.labour
    return total


def _bulk(actor: Actor, product: Product, lot: UUID | str) -> Custody:
    custody = pourable(actor, lot)
    bulk = custody.lot
    if bulk.material_id != product.formula.material_id:
        raise Invalid(
            f"The lot {bulk.code} is {bulk.material.name}; {product.name} is filled with"
            f" {product.formula.name}.",
            pointer="/lot",
        )
    return custody


def _open_lot(
    actor: Actor, product: Product, bulk: Lot, happened_at: datetime, release_basis: str | None
) -> Lot:
    day = day_of(actor, happened_at)
    expires_on, note = dates_of_made(day, None, [bulk])
    new = NewLot(
        material=product.material,
        arrived_on=day,
        made_in_id=bulk.made_in_id,
        expires_on=expires_on,
        dates_note=note,
    )
    (filled,) = open_lots(actor, [new], release_basis=release_basis)
    return filled


def _draw(
    actor: Actor,
    product: Product,
    bulk: Lot,
    filled: Lot,
    amount: Measured,
    units: int,
    happened_at: datetime,
) -> list[StoreDraw]:
    """Lock all that the entry will touch; the bulk that was used, then packaging for the units."""
    packaging = [(item.material, item.quantity * units) for item in product.packaging.all()]
    lock_pools([bulk.material_id, filled.material_id, *(material.id for material, _ in packaging)])
    used = StoreDraw(bulk.material_id, bulk.id, amount.quantity)
    day = day_of(actor, happened_at)
    drawn = draw_packaging(actor, packaging, day)
    with placed("/used", NotEnough):
        return at_cost(actor, [used, *drawn])


def _filling(
    actor: Actor,
    product: Product,
    bulk: Lot,
    filled: Lot,
    amount: Measured,
    units: int,
    draws: Sequence[StoreDraw],
) -> Filling:
    """The record of the fill; the bulk is the first of the draws."""
    labour = Labour(product.hourly_rate, minutes_per_unit=product.minutes_per_unit)
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
        bulk=draws[0].value,
        packaging=sum((draw.value for draw in draws[1:]), ZERO),
        labour=labour.cost(units),
        person_id=actor.person_id,
    )


def _nominal(product: Product, bulk: Lot, units: int) -> Decimal | None:
    """Grams that the units should hold; None where only the density to say so is missing."""
    overfill, density = product.overfill_percent, density_of(bulk) or density_of(bulk.material)
    each: Decimal | None = None
    if product.fill_grams is not None:
        each = fill_of_mass(product.fill_grams, overfill)
    elif product.fill_ml is not None and density is not None:
        each = fill_of_volume(product.fill_ml, density.grams_per_millilitre, overfill)
    return None if each is None else each * units


def _used(bulk: Lot, used: Quantity | None, nominal: Decimal | None) -> Measured:
    if used is None:
        if nominal is None:
            raise DensityMissing(name=bulk.material.name, pointer="/used")
        return Measured(f"{nominal.normalize():f} g", nominal, counted=False)
    with placed("/used"):
        return measure(used, bulk.material, density_of(bulk))


def _post(actor: Actor, filling: Filling, draws: Sequence[StoreDraw], amount: Measured) -> UUID:
    store = account(actor, Account.Kind.STORE, "store")
    making = account(actor, Account.Kind.MAKING, "making")
    moves = moves_of(actor, draws)
    if filling.labour:
        labour = account(actor, Account.Kind.LABOUR, "labour absorbed")
        moves.append(Move(labour, making, None, ZERO, filling.labour))
    moves.append(Move(making, store, filling.lot_id, Decimal(filling.units), total_of(filling)))
    details: dict[str, Any] = {
        "product": str(filling.product_id),
        "units": filling.units,
        **amount.facts(),
    }
    if filling.overrode:
        details["overrode"] = filling.overrode
    with placed("/used", NotEnough), placed("/lot", LotNotReleased, LotExpired):
        posted = post_entry(
            actor,
            kind=Entry.Kind.FILL,
            happened_at=filling.happened_at,
            moves=moves,
            deviation=filling.deviation,
            details=details,
        )
    check_costed(posted, draws, first=0)
    return posted.entry_id
