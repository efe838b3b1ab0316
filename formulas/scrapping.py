"""Scrapping a batch in process: all of it, with what is kept for rework, or a part."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from formulas.access import locked_batch
from formulas.batches import held_by, must_be_planned
from formulas.drawing import dates_of_made
from formulas.errors import NothingWeighed
from formulas.models import Batch
from formulas.recipes import density_of
from formulas.reserving import free, promised_materials
from formulas.scrap import ScrapCost, parts_of, scrap_cost
from ledger.access import Actor, day_of
from ledger.entries import Move, account, lock_pools, open_account, post_entry
from ledger.entry_reading import EntriesWanted, entries_of
from ledger.errors import (
    Invalid,
    MoneyTooFine,
    NotEnough,
    Sentence,
    placed,
)
from ledger.lots import NewLot, open_lots
from ledger.models import Account, Entry, Holding, Lot
from ledger.money import minor_units, round_money
from ledger.quantities import Quantity, grams_of
from ledger.roles import Verb

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Kept:
    """What of a failed batch is kept for rework; `nrv` is what all of it will bring, if known."""

    quantity: Quantity
    nrv: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Scrapped:
    """A batch that was scrapped, all or in part; `lot` is what was kept of it."""

    batch: Batch
    entry_id: UUID
    scrapped_grams: Decimal
    kept_grams: Decimal
    cost: ScrapCost
    lot: Lot | None


def scrap_batch(
    actor: Actor, *, batch: UUID | str, reason: str, happened_at: datetime, kept: Kept | None = None
) -> Scrapped:
    """Scrap all that is in a batch in process, but for what is kept as a lot for rework.

    The lot waits in quarantine, at its share of the cost after the normal loss and at no more than
    what it will bring; the rest is expensed, and no input comes back. What was promised to the
    batch is given back. Raises NotFound, AlreadyFinished, NothingWeighed, Invalid, NotEnough when
    more is kept than went in, DensityMissing.
    """
    actor.must(Verb.MAKE)
    found, held = _in_process(actor, batch, reason)
    weighed = sum((one.quantity for one in held), ZERO)
    grams = ZERO
    if kept is not None:
        grams = _grams(found, kept.quantity, "/kept/quantity", weighed)
        if kept.nrv is not None and kept.nrv != round_money(kept.nrv, actor.currency):
            digits = minor_units(actor.currency)
            raise MoneyTooFine(currency=actor.currency, digits=digits, pointer="/kept/nrv")
    cost = scrap_cost(
        sum((one.value for one in held), ZERO),
        weighed_grams=weighed,
        process_loss_percent=found.version.process_loss_percent,
        kept_grams=grams,
        nrv=kept.nrv if kept else None,
    )
    lot = _open_lot(actor, found, held, happened_at) if kept else None
    lock_pools(
        promised_materials(actor, found.account_id)
        | {one.material_id for one in held}
        | ({lot.material_id} if lot else set())
    )
    free(actor, found.account_id)
    scrapped = weighed - grams
    details: dict[str, Any] = {"scrapped": f"{scrapped:f}", "kept": f"{grams:f}"}
    if lot is None:
        moves = [Move(found.account_id, _waste(actor), h.lot_id, h.quantity, h.value) for h in held]
    else:
        moves = _with_rest(actor, found, held, lot, grams, cost)
    entry_id = _post(actor, found, moves, details, reason, happened_at)
    found.state, found.cancel_entry_id = Batch.State.SCRAPPED, entry_id
    found.save(update_fields=["state", "cancel_entry"])
    return Scrapped(found, entry_id, scrapped, grams, cost, lot)


def scrap_part(
    actor: Actor, *, batch: UUID | str, quantity: Quantity, reason: str, happened_at: datetime
) -> Scrapped:
    """Scrap so much of what is in a batch, which goes on with the rest.

    It is a mixture by then: of each lot goes its share, at its share of the value. Raises NotFound,
    AlreadyFinished, NothingWeighed, Invalid for all of it, NotEnough for more, DensityMissing.
    """
    actor.must(Verb.MAKE)
    found, held = _in_process(actor, batch, reason)
    weighed = sum((one.quantity for one in held), ZERO)
    grams = _grams(found, quantity, "/quantity", weighed)
    if grams == weighed:
        raise Invalid(
            "That is all that is in the batch: leave the quantity out to scrap the batch.",
            pointer="/quantity",
        )
    parts = parts_of([one.quantity for one in held], grams)
    moves = [
        Move(found.account_id, _waste(actor), one.lot_id, part)
        for one, part in zip(held, parts, strict=True)
        if part
    ]
    details = {"scrapped": f"{grams:f}", "kept": "0"}
    lock_pools({one.material_id for one in held})
    entry_id = _post(actor, found, moves, details, reason, happened_at)
    before = {one.lot_id: one.value for one in held}
    left = sum((one.value for one in held_by(found)), ZERO)
    value = sum(before.values(), ZERO) - left
    per_kg = value * 1000 / grams
    return Scrapped(found, entry_id, grams, ZERO, ScrapCost(per_kg, ZERO, value, grams), None)


def scraps_of(actor: Actor, batch: Batch) -> "QuerySet[Entry]":
    """What was scrapped of a batch, the last first, each with what took it back. Raises Forbidden.

    How many grams it was stands in the details of each.
    """
    rows = entries_of(actor, EntriesWanted(kind=Entry.Kind.SCRAP))
    return rows.filter(details__batch=str(batch.id)).order_by("-id")


def _in_process(actor: Actor, batch: UUID | str, reason: str) -> tuple[Batch, list[Holding]]:
    if not reason.strip():
        raise Invalid("Say why it is scrapped.", pointer="/reason")
    found = locked_batch(actor, batch)
    must_be_planned(found)
    held = held_by(found)
    if not held:
        raise NothingWeighed(batch=found.code)
    return found, held


def _grams(batch: Batch, quantity: Quantity, pointer: str, weighed: Decimal) -> Decimal:
    version = batch.version
    with placed(pointer):
        grams = grams_of(quantity, density=density_of(version), name=version.formula.name)
        if grams > weighed:
            raise NotEnough(
                Sentence(
                    "Only {weighed:f} g went into the batch; give what there is of it.",
                    weighed=weighed.normalize(),
                ),
                left=f"{weighed:f}",
            )
    return grams


def _open_lot(actor: Actor, batch: Batch, held: Sequence[Holding], happened_at: datetime) -> Lot:
    """The lot that is kept: of the formula's bulk, no younger than what went in, in quarantine."""
    day, version = day_of(actor, happened_at), batch.version
    expires_on, note = dates_of_made(day, version.shelf_life_days, held)
    new = NewLot(
        material=version.formula.material,
        arrived_on=day,
        made_in_id=batch.account_id,
        expires_on=expires_on,
        dates_note=note,
        density=density_of(version),
    )
    (lot,) = open_lots(actor, [new], release_basis=None)
    return lot


def _waste(actor: Actor) -> UUID:
    return open_account(actor, Account.Kind.LOSS, "scrap")


def _with_rest(
    actor: Actor,
    batch: Batch,
    held: Sequence[Holding],
    lot: Lot,
    grams: Decimal,
    cost: ScrapCost,
) -> list[Move]:
    """All inputs into what is kept, so that it is traced to each, and the waste at its value."""
    making = account(actor, Account.Kind.MAKING, "making")
    store = account(actor, Account.Kind.STORE, "store")
    loss = account(actor, Account.Kind.LOSS, "abnormal loss")
    moves = [Move(batch.account_id, making, one.lot_id, one.quantity, one.value) for one in held]
    moves.append(Move(making, store, lot.id, grams, cost.kept))
    if cost.abnormal:
        moves.append(Move(making, loss, None, ZERO, cost.abnormal))
    return moves


def _post(
    actor: Actor,
    batch: Batch,
    moves: Sequence[Move],
    details: dict[str, Any],
    reason: str,
    happened_at: datetime,
) -> UUID:
    return post_entry(
        actor,
        kind=Entry.Kind.SCRAP,
        happened_at=happened_at,
        moves=moves,
        reason=reason,
        details={"batch": str(batch.id), **details},
    ).entry_id
