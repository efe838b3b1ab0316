"""Finishing a batch: what was weighed becomes a lot of bulk, or of filled units, at its cost."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction

from formulas.access import locked_batch
from formulas.batches import held_by, must_be_planned
from formulas.beside_drafts import BesideDrafts
from formulas.by_products import ByProductDraft, keep_by_products, moves_of_by_products
from formulas.costing import BatchCost, BatchYield, Labour, Overhead, batch_cost, batch_yield
from formulas.drawing import (
    Sample,
    check_costed,
    dates_of_made,
    draw_packaging,
    issue_samples,
    moves_of,
)
from formulas.errors import NothingWeighed
from formulas.joint_products import (
    JointDraft,
    facts_of_joint,
    joint_products_of,
    keep_joint_products,
    moves_of_joint_products,
    share_out,
)
from formulas.models import Batch, JointProduct, Making, Product
from formulas.outcomes import AbnormalLoss, Outcome, outcome_of
from formulas.recipes import density_of
from formulas.reserving import free, promised_materials
from formulas.steeping import expected_loss, spent_in
from ledger.access import Actor, day_of
from ledger.entries import Move, account, explained, lock_pools, post_entry
from ledger.errors import MoneyTooLarge
from ledger.lots import NewLot, open_lots
from ledger.models import Account, Entry, Holding, Lot, Status
from ledger.money import TOO_MUCH_MONEY
from ledger.quantities import Quantity
from ledger.roles import Verb
from ledger.stopping import stop_if_made_of_stopped
from ledger.store_costs import StoreDraw, at_cost

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Finished:
    """A batch that is finished: the lot it made, what it cost (exact) and what it yielded."""

    batch: Batch
    making: Making
    lot: Lot
    status: Status
    cost: BatchCost
    yielded: BatchYield


def finish(
    actor: Actor,
    *,
    batch: UUID | str,
    output: Quantity,
    happened_at: datetime,
    units: int | None = None,
    samples: Sequence[Sample] = (),
    abnormal_loss: AbnormalLoss | None = None,
    marc: Quantity | None = None,
    release_basis: str | None = None,
    labour_minutes: Decimal | None = None,
    by_products: Sequence[ByProductDraft] = (),
    joint: JointDraft | None = None,
    label_version: str = "",
) -> Finished:
    """Finish a batch: all that was weighed in becomes one lot, in one entry.

    With `units` of its product the lot is of filled units, and packaging is drawn for them; without
    it is bulk, to be filled later. `output` and `units` include the samples, which are then issued
    at unit cost. Normal loss stays in the cost of what is good; a declared abnormal loss is
    expensed. The lot is in quarantine unless released, and lasts as long as the formula's shelf
    life, but no longer than the earliest input. What is still reserved is given back. Labour costs
    the minutes of the product's policy, or `labour_minutes`. Of an infusion the `marc` may be
    weighed: what was strained out, with what it kept. By-products become lots at what they will
    bring, `joint` products at their part of the joint cost. `label_version` is the units' label.

    Raises NotFound, AlreadyFinished, NothingWeighed, DensityMissing, Invalid, and NotEnough naming
    the packaging that is missing.
    """
    actor.must(Verb.MAKE)
    found = locked_batch(actor, batch)
    must_be_planned(found)
    outcome = outcome_of(found, output, units, abnormal_loss, labour_minutes, marc)
    drafts = BesideDrafts.of(actor, by_products, joint)
    held = held_by(found)
    if not held:
        raise NothingWeighed(batch=found.code)
    outcome = replace(outcome, spent_grams=spent_in(found, held), label_version=label_version)
    outcome = drafts.opened(actor, found, outcome, held, happened_at)
    lot = _open_lot(actor, found, held, outcome, happened_at, release_basis)
    draws = _draw(actor, found, held, [lot, *outcome.lots_beside], units, happened_at)
    cost, yielded = _reckon(found, held, draws, outcome)
    entry_id = _post(actor, found, held, draws, lot, cost, outcome, happened_at)
    samples_entry_id = issue_samples(
        actor, lot, samples, happened_at=happened_at, details={"batch": str(found.id)}
    )
    making = _keep(actor, found, lot, held, cost, outcome, happened_at, entry_id, samples_entry_id)
    status = _stopped(actor, held, lot, outcome.lots_beside, release_basis)
    return Finished(found, making, lot, status, cost, yielded)


def try_finish(actor: Actor, **facts: Any) -> tuple[Finished, list[JointProduct]]:
    """What a finish would come to, by the verb itself, and its products where it has several.

    Nothing of it is kept. Raises what `finish` raises.
    """
    with transaction.atomic(), explained():
        finished = finish(actor, **facts)
        products = joint_products_of(finished.making)
        transaction.set_rollback(True)
    return finished, products


def _stopped(
    actor: Actor,
    held: Sequence[Holding],
    lot: Lot,
    beside: Sequence[Lot],
    release_basis: str | None,
) -> Status:
    """The status of what was made: all of it is on hold where an input is."""
    status = Status.QUARANTINE if release_basis is None else Status.RELEASED
    inputs = [one.lot for one in held]
    for made in (*beside, lot):
        if stop_if_made_of_stopped(actor, made, inputs) is not None:
            status = Status.HOLD
    return status


def _beside_facts(outcome: Outcome) -> dict[str, Any]:
    """What a making keeps of all that came out beside the main product."""
    return {
        "by_product_grams": outcome.by_product_grams,
        "by_product_value": outcome.by_product_value,
        **facts_of_joint(outcome.joint),
    }


def cost_of(making: Making) -> BatchCost:
    """What a finished batch cost, exact; `costing.shown` brings it to the minor unit."""
    return batch_cost(
        materials=making.materials,
        packaging=making.packaging,
        labour=making.labour,
        overhead=making.overhead,
        by_products=making.by_product_value,
        joint_products=making.joint_value,
        output_grams=making.output_grams,
        declared_grams=making.declared_grams,
        units=making.units,
    )


def yield_of(making: Making, batch: Batch) -> BatchYield:
    """What a finished batch yielded and lost."""
    return batch_yield(
        weighed_grams=making.weighed_grams,
        output_grams=making.output_grams,
        planned_output_grams=batch.output_grams,
        process_loss_percent=making.process_loss_percent,
        declared_grams=making.declared_grams,
        by_product_grams=making.beside_grams,
        expected_loss_grams=expected_loss(batch.version, making.weighed_grams, making.spent_grams),
    )


def check_value(value: Decimal) -> None:
    """Raises MoneyTooLarge for more than the books can hold."""
    if value >= TOO_MUCH_MONEY:
        raise MoneyTooLarge


def _open_lot(
    actor: Actor,
    batch: Batch,
    held: Sequence[Holding],
    outcome: Outcome,
    happened_at: datetime,
    release_basis: str | None,
) -> Lot:
    """The lot that the batch makes: of the product's units, or of the formula's bulk."""
    day, version = day_of(actor, happened_at), batch.version
    expires_on, note = dates_of_made(day, version.shelf_life_days, held)
    material = version.formula.material
    if outcome.units is not None and batch.product is not None:
        material = batch.product.material
    new = NewLot(
        material=material,
        arrived_on=day,
        made_in_id=batch.account_id,
        expires_on=expires_on,
        dates_note=note,
        density=None if material.counted else density_of(version),
    )
    (lot,) = open_lots(actor, [new], release_basis=release_basis)
    return lot


def _draw(
    actor: Actor,
    batch: Batch,
    held: Sequence[Holding],
    made: Sequence[Lot],
    units: int | None,
    happened_at: datetime,
) -> list[StoreDraw]:
    """Lock all that the entry will touch, draw packaging for the units, give back the rest."""
    packaging = [
        (item.material, item.per_unit * (units or 0))
        for item in batch.packaging.select_related("material")
        if units
    ]
    lock_pools(
        promised_materials(actor, batch.account_id)
        | {one.material_id for one in held}
        | {material.id for material, _ in packaging}
        | {lot.material_id for lot in made}
    )
    day = day_of(actor, happened_at)
    draws = draw_packaging(actor, packaging, day, reserved_for=batch.account_id)
    free(actor, batch.account_id)
    return at_cost(actor, draws)


def _policy_of(product: Product | None, recorded: Decimal | None = None) -> tuple[Labour, Overhead]:
    """The maker's policy as the product has it now; bulk of no product carries neither."""
    if product is None:
        return Labour(ZERO), Overhead()
    labour = Labour(
        product.hourly_rate, product.minutes_per_batch, product.minutes_per_unit, recorded
    )
    return labour, Overhead(product.overhead_per_batch, product.overhead_percent)


def _reckon(
    batch: Batch, held: Sequence[Holding], draws: Sequence[StoreDraw], outcome: Outcome
) -> tuple[BatchCost, BatchYield]:
    materials = sum((one.value for one in held), ZERO)
    by_labour, by_overhead = _policy_of(batch.product, outcome.labour_minutes)
    labour, overhead = by_labour.cost(outcome.units or 0), by_overhead.cost(materials)
    if outcome.joint is not None:
        joint_cost = materials + labour + overhead - outcome.by_product_value
        share_out(outcome.joint, joint_cost, outcome.declared_grams)
    cost = batch_cost(
        materials=materials,
        packaging=sum((draw.value for draw in draws), ZERO),
        labour=labour,
        overhead=overhead,
        by_products=outcome.by_product_value,
        joint_products=outcome.joint.value if outcome.joint else ZERO,
        output_grams=outcome.output_grams,
        declared_grams=outcome.declared_grams,
        units=outcome.units,
    )
    check_value(cost.inputs)
    weighed = sum((one.quantity for one in held), ZERO)
    yielded = batch_yield(
        weighed_grams=weighed,
        output_grams=outcome.output_grams,
        planned_output_grams=batch.output_grams,
        process_loss_percent=batch.version.process_loss_percent,
        declared_grams=outcome.declared_grams,
        by_product_grams=outcome.beside_grams,
        expected_loss_grams=expected_loss(batch.version, weighed, outcome.spent_grams),
    )
    return cost, yielded


def _post(
    actor: Actor,
    batch: Batch,
    held: Sequence[Holding],
    draws: Sequence[StoreDraw],
    lot: Lot,
    cost: BatchCost,
    outcome: Outcome,
    happened_at: datetime,
) -> UUID:
    making = account(actor, Account.Kind.MAKING, "making")
    moves = [Move(batch.account_id, making, one.lot_id, one.quantity, one.value) for one in held]
    moves += moves_of(actor, draws)
    moves += value_moves(actor, cost)
    made = outcome.output_grams if outcome.units is None else Decimal(outcome.units)
    store = account(actor, Account.Kind.STORE, "store")
    moves.append(Move(making, store, lot.id, made, cost.total))
    moves += moves_of_by_products(actor, outcome.by_products)
    moves += moves_of_joint_products(actor, outcome.joint)
    details: dict[str, Any] = {"batch": str(batch.id), "output": outcome.entered}
    if outcome.declared_grams:
        details["abnormal_loss"] = {
            "grams": f"{outcome.declared_grams:f}",
            "reason": outcome.declared_reason,
        }
    if outcome.marc_grams is not None:
        details["marc"] = {"grams": f"{outcome.marc_grams:f}"}
    posted = post_entry(
        actor, kind=Entry.Kind.MAKE, happened_at=happened_at, moves=moves, details=details
    )
    check_costed(posted, draws, first=len(held))
    return posted.entry_id


def value_moves(actor: Actor, cost: BatchCost) -> list[Move]:
    """Labour and overhead into what is made, abnormal loss out of it: value without goods."""
    making = account(actor, Account.Kind.MAKING, "making")
    labour = account(actor, Account.Kind.LABOUR, "labour absorbed")
    overhead = account(actor, Account.Kind.OVERHEAD, "overhead absorbed")
    loss = account(actor, Account.Kind.LOSS, "abnormal loss")
    wanted = (
        (labour, making, cost.labour),
        (overhead, making, cost.overhead),
        (making, loss, cost.abnormal),
    )
    return [Move(source, to, None, ZERO, value) for source, to, value in wanted if value]


def _keep(
    actor: Actor,
    batch: Batch,
    lot: Lot,
    held: Sequence[Holding],
    cost: BatchCost,
    outcome: Outcome,
    happened_at: datetime,
    entry_id: UUID,
    samples_entry_id: UUID | None,
) -> Making:
    labour, overhead = _policy_of(batch.product)
    making = Making(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        batch=batch,
        entry_id=entry_id,
        samples_entry_id=samples_entry_id,
        lot=lot,
        happened_at=happened_at,
        entered=outcome.entered,
        output_grams=outcome.output_grams,
        units=outcome.units,
        weighed_grams=sum((one.quantity for one in held), ZERO),
        declared_grams=outcome.declared_grams,
        declared_reason=outcome.declared_reason,
        **_beside_facts(outcome),
        spent_grams=outcome.spent_grams,
        marc_grams=outcome.marc_grams,
        process_loss_percent=batch.version.process_loss_percent,
        minutes_per_batch=labour.minutes_per_batch,
        minutes_per_unit=labour.minutes_per_unit,
        hourly_rate=labour.hourly_rate,
        labour_minutes=outcome.labour_minutes,
        label_version=outcome.label_version,
        overhead_per_batch=overhead.per_batch,
        overhead_percent=overhead.percent_of_materials,
        materials=cost.materials,
        packaging=cost.packaging,
        labour=cost.labour,
        overhead=cost.overhead,
        abnormal=cost.abnormal,
        person_id=actor.person_id,
    )
    making.save(force_insert=True)
    keep_by_products(making, outcome.by_products)
    keep_joint_products(making, outcome.joint)
    batch.making, batch.state = making, Batch.State.FINISHED
    batch.save(update_fields=["making", "state"])
    return making
