"""Filled units emptied back into bulk: wrong label, wrong bottle, and good product in it.

The product keeps its cost, and the packaging and the work of filling are lost: abnormal waste is an
expense (IAS 2, paragraph 16(a)). The bulk becomes a lot of its own, made of the units, so that a
trace goes through it; into the lot it came from it would close a circle.
"""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from django.db.models import F

from formulas.access import pourable
from formulas.costing import bulk_part
from formulas.drawing import check_costed, dates_of_made
from formulas.filling import total_of
from formulas.finishing import cost_of
from formulas.models import Emptying, Filling, Making
from ledger.access import Actor, day_of
from ledger.costing import round_stored
from ledger.entries import Move, account, lock_pools, open_account, post_entry
from ledger.errors import (
    Conflict,
    Invalid,
    NotEnough,
    QuantityNotPositive,
    Sentence,
    placed,
)
from ledger.lots import NewLot, open_lots
from ledger.measuring import density_of, measure
from ledger.models import Account, Custody, Entry, Lot, Material, Status
from ledger.quantities import Quantity
from ledger.roles import Verb
from ledger.stopping import stop_if_made_of_stopped
from ledger.store_costs import StoreDraw, at_cost

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Emptied:
    """Units that were emptied, and the lot of bulk that came of them, with its status."""

    emptying: Emptying
    lot: Lot
    status: Status


@dataclass(frozen=True, slots=True)
class FilledLot:
    """How a lot of units was filled: bulk in each, all bulk of them, and what of the cost it is."""

    bulk: Material
    each_grams: Fraction
    all_grams: Decimal
    bulk_value: Decimal
    total: Decimal


def empty(
    actor: Actor,
    *,
    lot: UUID | str,
    units: int,
    reason: str,
    happened_at: datetime,
    quantity: Quantity | None = None,
) -> Emptied:
    """Empty units of a filled lot into a new lot of bulk, at the cost of the bulk in them.

    `quantity` is what came out, or as much as was filled into them. What stays behind is lost with
    the packaging. The new lot is in quarantine, or on hold where the units were, and lasts no
    longer than they do. Raises NotFound, QuantityNotPositive, Conflict for units that were not
    filled here, Invalid for no reason, NotEnough, DensityMissing, LotNotReleased for a rejected
    lot.
    """
    actor.must(Verb.MAKE)
    if units < 1:
        raise QuantityNotPositive(pointer="/units")
    if not reason.strip():
        raise Invalid("Say why they are emptied.", pointer="/reason")
    found = (custody := pourable(actor, lot, pointer="")).lot
    filled = filled_lot(actor, found)
    grams = _grams(filled, quantity, units)
    made = _open_lot(actor, custody, filled.bulk, happened_at)
    lock_pools([found.material_id, made.material_id])
    with placed("/units", NotEnough):
        draws = at_cost(actor, [StoreDraw(found.material_id, found.id, Decimal(units))])
    of_bulk = Fraction(filled.bulk_value) / Fraction(filled.total) if filled.total else Fraction(0)
    bulk, expensed = bulk_part(
        draws[0].value, of_bulk=of_bulk, returned=Fraction(grams) / (filled.each_grams * units)
    )
    emptying = Emptying(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot=found,
        bulk_lot=made,
        happened_at=happened_at,
        units=units,
        grams=grams,
        bulk=bulk,
        expensed=expensed,
        reason=reason,
        person_id=actor.person_id,
    )
    emptying.entry_id = _post(actor, emptying, draws)
    emptying.save(force_insert=True)
    stopped = stop_if_made_of_stopped(actor, made, [found])
    return Emptied(emptying, made, Status.QUARANTINE if stopped is None else Status.HOLD)


def filled_lot(actor: Actor, lot: Lot) -> FilledLot:
    """How the units of a lot came to be: by a fill, or by the finish of their batch.

    Raises Conflict for a lot of anything else.
    """
    rows = Filling.objects.select_related("product__formula__material")
    filling = rows.filter(maker_id=actor.maker, lot=lot).first()
    if filling is not None:
        inside = filling.used_grams - filling.heel_grams - filling.reject_grams
        return FilledLot(
            filling.product.formula.material,
            Fraction(inside) / filling.units,
            filling.used_grams,
            filling.bulk,
            total_of(filling),
        )
    finishes = Making.objects.select_related("batch__version__formula__material")
    making = finishes.filter(
        maker_id=actor.maker, lot=lot, units__isnull=False, batch__making=F("id")
    ).first()
    if making is None or not making.units:
        raise Conflict(
            Sentence(
                "The lot {code} is not of units that were filled here; weigh bulk into a batch,"
                " or issue it with a reason instead.",
                code=lot.code,
            )
        )
    total = cost_of(making).total
    return FilledLot(
        making.batch.version.formula.material,
        Fraction(making.output_grams) / making.units,
        making.output_grams,
        total - making.packaging,
        total,
    )


def _grams(filled: FilledLot, quantity: Quantity | None, units: int) -> Decimal:
    if quantity is None:
        return min(round_stored(filled.each_grams * units), filled.all_grams)
    with placed("/quantity"):
        grams = measure(quantity, filled.bulk, density_of(filled.bulk)).quantity
        if grams > filled.all_grams:
            raise NotEnough(
                Sentence(
                    "Only {all_grams:f} g were filled into all of them.",
                    all_grams=filled.all_grams.normalize(),
                ),
                left=f"{filled.all_grams:f}",
            )
    return grams


def _open_lot(actor: Actor, units: Custody, bulk: Material, happened_at: datetime) -> Lot:
    day = day_of(actor, happened_at)
    expires_on, note = dates_of_made(day, None, [units])
    new = NewLot(
        material=bulk,
        arrived_on=day,
        made_in_id=units.lot.made_in_id,
        expires_on=expires_on,
        dates_note=note,
        density=density_of(bulk),
    )
    (lot,) = open_lots(actor, [new], release_basis=None)
    return lot


def _post(actor: Actor, emptying: Emptying, draws: list[StoreDraw]) -> UUID:
    store = account(actor, Account.Kind.STORE, "store")
    making = account(actor, Account.Kind.MAKING, "making")
    moves = [Move(store, making, emptying.lot_id, Decimal(emptying.units))]
    if emptying.expensed:
        lost = open_account(actor, Account.Kind.LOSS, "emptied")
        moves.append(Move(making, lost, None, ZERO, emptying.expensed))
    moves.append(Move(making, store, emptying.bulk_lot_id, emptying.grams, emptying.bulk))
    with placed("/units", NotEnough):
        posted = post_entry(
            actor,
            kind=Entry.Kind.EMPTY,
            happened_at=emptying.happened_at,
            moves=moves,
            reason=emptying.reason,
            details={"units": emptying.units, "grams": f"{emptying.grams:f}"},
        )
    check_costed(posted, draws, first=0)
    return posted.entry_id
