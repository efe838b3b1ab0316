"""What of a material may be used on a day, and what of it is promised to whom."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection

from formulas.picking import PickableLot
from formulas.short_batches import LOOK
from ledger.access import Actor
from ledger.alerts import enqueue_checks
from ledger.lots import NewLot, open_lots
from ledger.models import Lot, Maker, Material, Reservation, Shortfall
from ledger.writing import write_together

# All that lies in store of these materials, with what others and what this account was promised.
# Order of receipt is the order of the lots' ids (UUIDv7).
_LOTS: Final = """
    select h.material_id, l.id, l.expires_on, l.retest_on, c.use_by, c.status,
           h.quantity - coalesce(r.others, 0), coalesce(r.own, 0),
           row_number() over (order by l.id)
      from (select material_id, lot_id, sum(quantity) as quantity from ledger_holding
              where coop_id = %(coop)s and maker_id = %(maker)s and kind = 'store' and any_left
                and material_id = any (%(materials)s)
              group by 1, 2) h
      join ledger_lot l on l.coop_id = %(coop)s and l.id = h.lot_id
      join ledger_custody c
        on c.coop_id = %(coop)s and c.maker_id = %(maker)s and c.lot_id = h.lot_id
      left join lateral (
        select sum(r.quantity) filter (where r.account_id is distinct from %(account)s) as others,
               sum(r.quantity) filter (where r.account_id = %(account)s) as own
          from ledger_reservation r
          where r.coop_id = %(coop)s and r.maker_id = %(maker)s and r.lot_id = h.lot_id) r on true
"""


@dataclass(frozen=True, slots=True)
class StoredLot:
    """A lot in store: `available` is what no one else was promised, `own` the account's promise."""

    pickable: PickableLot
    own: Decimal


def stored_lots(
    actor: Actor, materials: Iterable[UUID], *, account: UUID | None = None
) -> dict[UUID, list[StoredLot]]:
    """Every lot in store of these materials, in one query; no lots for what is not there."""
    lots: dict[UUID, list[StoredLot]] = defaultdict(list)
    with connection.cursor() as cursor:
        cursor.execute(
            _LOTS,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "materials": sorted(set(materials)),
                "account": account,
            },
        )
        for material, lot, expires, retest, use_by, status, available, own, order in cursor:
            pickable = PickableLot(
                lot=str(lot),
                available=max(available, Decimal(0)),
                received_order=order,
                status=status,
                expires_on=expires,
                retest_on=retest,
                use_by=use_by,
            )
            lots[material].append(StoredLot(pickable, own))
    return lots


def available_on(actor: Actor, materials: Iterable[UUID], day: date) -> Mapping[UUID, Decimal]:
    """What may be used of each material on a day: released, in date, promised to no one."""
    lots = stored_lots(actor, materials)
    return defaultdict(
        Decimal,
        {
            material: sum(
                (lot.pickable.available for lot in rows if lot.pickable.usable_on(day)),
                Decimal(0),
            )
            for material, rows in lots.items()
        },
    )


def free_lots(actor: Actor, material: UUID, day: date) -> list[tuple[Lot, Decimal]]:
    """The lots that `available_on` counts of a material, each with so much, in two queries."""
    free = {
        UUID(lot.pickable.lot): lot.pickable.available
        for lot in stored_lots(actor, [material])[material]
        if lot.pickable.usable_on(day) and lot.pickable.available
    }
    return _by_lot(actor, free)


def promised_lots(
    actor: Actor, material: UUID, account: UUID, day: date
) -> list[tuple[Lot, Decimal]]:
    """The lots of a material that an account was promised and that may be used on a day, each with
    so much of it, in two queries."""
    stored = stored_lots(actor, [material], account=account)[material]
    usable = [one for one in stored if one.pickable.usable_on(day) and one.own]
    return _by_lot(actor, {UUID(one.pickable.lot): one.own for one in usable})


def _by_lot(actor: Actor, quantities: Mapping[UUID, Decimal]) -> list[tuple[Lot, Decimal]]:
    lots = Lot.objects.filter(coop_id=actor.coop_id, id__in=quantities).order_by("id")
    return [(lot, quantities[lot.id]) for lot in lots]


@dataclass(frozen=True, slots=True)
class Promise:
    """So much of a lot, for a batch."""

    material_id: UUID
    lot_id: UUID
    quantity: Decimal


def promised(
    actor: Actor, account: UUID, promises: Iterable[Promise], short: Mapping[UUID, Decimal]
) -> tuple[list[Reservation], list[Shortfall]]:
    """The rows that promise lots to a batch's account and note what it lacks, not yet written."""
    together: dict[tuple[UUID, UUID], Decimal] = defaultdict(Decimal)
    for promise in promises:
        together[promise.material_id, promise.lot_id] += promise.quantity
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker, "account_id": account}
    return (
        [
            Reservation(**own, material_id=material, lot_id=lot, quantity=quantity)
            for (material, lot), quantity in together.items()
        ],
        [
            Shortfall(**own, material_id=material, quantity=quantity)
            for material, quantity in short.items()
            if quantity > 0
        ],
    )


def reserve(
    actor: Actor, account: UUID, promises: Sequence[Promise], short: Mapping[UUID, Decimal]
) -> None:
    """Promise lots to a batch's account, and note what it lacks; the pools are locked by then."""
    reservations, lacking = promised(actor, account, promises, short)
    write_together(reservations, lacking)
    touched = {row.material_id for row in reservations} | short.keys()
    enqueue_checks(actor, touched, (LOOK, account) if lacking else None)


def free(actor: Actor, account: UUID) -> None:
    """Give back what a batch was promised and has not taken; the pools are locked by then."""
    own = {"maker_id": actor.maker, "account_id": account}
    reserved, lacking = Reservation.objects.filter(**own), Shortfall.objects.filter(**own)
    materials = [*reserved.values_list("material_id", flat=True)]
    lacked = [*lacking.values_list("material_id", flat=True)]
    reserved.delete()
    lacking.delete()
    enqueue_checks(actor, [*materials, *lacked], (LOOK, account) if lacked else None)


def promised_materials(actor: Actor, account: UUID) -> set[UUID]:
    """The materials that a batch's promises and shortages are of."""
    own = {"maker_id": actor.maker, "account_id": account}
    reserved = Reservation.objects.filter(**own).values_list("material_id", flat=True)
    lacking = Shortfall.objects.filter(**own).values_list("material_id", flat=True)
    return {*reserved, *lacking}


def standing_lot(actor: Actor, material: Material, day: date) -> Lot:
    """The one lot of a material that is not stocked, such as water; opened when first drawn."""
    rows = Lot.objects.filter(
        coop_id=actor.coop_id,
        material=material,
        origin_id=actor.maker,
        supplier=None,
        made_in=None,
    ).order_by("id")
    found = rows.first()
    if found is None:
        # The maker's row, which numbers lots, is the lock; whoever takes it does so before pools.
        Maker.objects.select_for_update(no_key=True).get(id=actor.maker)
        found = rows.first()
    if found is None:
        new = NewLot(material=material, arrived_on=day, dates_note="not stocked")
        (found,) = open_lots(actor, [new], release_basis="Drawn when needed.")
    return found
