"""Choosing the lots of a planned batch anew, for what it still needs, and promising them."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from formulas.access import locked_batch
from formulas.batches import must_be_planned
from formulas.models import Batch, BatchLine, BatchPackaging, Lack, Pick, Picking, TopUp
from formulas.picking import PickableLot, pick
from formulas.reserving import Promise, free, promised_materials, reserve, stored_lots
from formulas.shares import Share, shares_of
from ledger.access import Actor
from ledger.entries import lock_pools
from ledger.models import Material
from ledger.roles import Verb

# Lots that come before others, by the line and the material they are poured for.
Preferred = Mapping[tuple[UUID, UUID], Sequence[UUID]]


@dataclass(frozen=True, slots=True)
class Picked:
    """One need of a batch: of a line or of packaging, the lots for it and what they lack."""

    row: BatchLine | BatchPackaging
    material: Material
    picks: tuple[tuple[UUID, Decimal], ...]
    lack: Decimal


@dataclass(frozen=True, slots=True)
class Need:
    """So much of a material for a line, or pieces of packaging."""

    row: BatchLine | BatchPackaging
    material: Material
    quantity: Decimal


def reserve_again(actor: Actor, *, batch: UUID | str) -> Batch:
    """Choose the lots of a planned batch anew, as the store is now, and promise them.

    For what was short when it was planned and has arrived, for a line that was weighed from
    another lot than the one that was picked, and for a plan whose promises were given back because
    its day was past. What has been weighed stays. Raises Forbidden, NotFound, AlreadyFinished.
    """
    actor.must(Verb.MAKE)
    found = locked_batch(actor, batch)
    must_be_planned(found)
    pick_anew(actor, found, shares_of(found))
    if found.note:
        found.note = ""
        found.save(update_fields=["note"])
    return found


def pick_anew(actor: Actor, batch: Batch, shares: Sequence[Share]) -> list[Picked]:
    """Free what the locked batch was promised, and promise it what its shares still need.

    First the lots that its top-ups name, then first expiry first among those usable on its day.
    """
    needs = [Need(one.line, one.material, one.still) for one in shares]
    for item in batch.packaging.select_related("material"):
        needs.append(Need(item, item.material, item.per_unit * (batch.units or 0)))
    stocked = {need.material.id for need in needs if need.material.stocked}
    lock_pools(pools_of(actor, batch, shares))
    free(actor, batch.account_id)
    left = {
        id: tuple(lot.pickable for lot in lots) for id, lots in stored_lots(actor, stocked).items()
    }
    picked = _pick(batch, needs, left, preferred(batch))
    _keep(actor, batch, picked)
    return picked


def pools_of(actor: Actor, batch: Batch, shares: Sequence[Share]) -> set[UUID]:
    """The materials to lock before a batch's lots are chosen anew: all at once, in one order."""
    wanted = {one.material.id for one in shares if one.material.stocked}
    wanted |= set(batch.packaging.values_list("material_id", flat=True))
    return wanted | promised_materials(actor, batch.account_id)


def preferred(batch: Batch) -> Preferred:
    """The lots that the top-ups of a batch name: to use up first, or to make up with."""
    lots: dict[tuple[UUID, UUID], list[UUID]] = defaultdict(list)
    for one in TopUp.objects.filter(batch=batch).order_by("id"):
        if one.lot_id is not None:
            lots[one.line_id, one.own_material_id].append(one.lot_id)
        if one.other_lot_id is not None:
            lots[one.line_id, one.material_id].append(one.other_lot_id)
    return lots


def _pick(
    batch: Batch,
    needs: Sequence[Need],
    left: dict[UUID, tuple[PickableLot, ...]],
    first: Preferred,
) -> list[Picked]:
    """Those with lots of their own come first, so that no other line takes them."""
    turns = sorted(needs, key=lambda need: (need.row.id, need.material.id) not in first)
    found: dict[int, Picked] = {}
    for need in turns:
        material = need.material
        if not material.stocked:
            found[id(need)] = Picked(need.row, material, (), Decimal(0))
            continue
        before = [str(lot) for lot in first.get((need.row.id, material.id), ())]
        lots = left.get(material.id, ())
        picked = pick(lots, need.quantity, batch.planned_for, before=before)
        left[material.id] = picked.lots
        picks = tuple((UUID(one.lot), one.quantity) for one in picked.picks)
        found[id(need)] = Picked(need.row, material, picks, picked.short)
    return [found[id(need)] for need in needs]


def _keep(actor: Actor, batch: Batch, picked: Sequence[Picked]) -> None:
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker}
    picking = Picking(**own, batch=batch, person_id=actor.person_id)
    picking.save(force_insert=True)
    Pick.objects.bulk_create(
        Pick(
            **own,
            **_of(one.row),
            batch=batch,
            picking=picking,
            position=place,
            lot_id=lot,
            quantity=quantity,
        )
        for one in picked
        for place, (lot, quantity) in enumerate(one.picks)
    )
    Lack.objects.bulk_create(
        Lack(**own, **_of(one.row), picking=picking, material=one.material, quantity=one.lack)
        for one in picked
        if one.lack > 0
    )
    short: dict[UUID, Decimal] = defaultdict(Decimal)
    for one in picked:
        short[one.material.id] += one.lack
    promises = [
        Promise(one.material.id, lot, quantity) for one in picked for lot, quantity in one.picks
    ]
    reserve(actor, batch.account_id, promises, short)


def _of(row: BatchLine | BatchPackaging) -> dict[str, BatchLine | BatchPackaging]:
    return {"line" if isinstance(row, BatchLine) else "packaging": row}
