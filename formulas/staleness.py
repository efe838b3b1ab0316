"""Plans whose day is long past: they give back what they were promised, with a note."""

from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, OuterRef

from formulas.access import locked_batch
from formulas.models import Batch
from formulas.reserving import free, promised_materials
from ledger.access import day_of, set_walls
from ledger.entries import lock_pools
from ledger.makers import actor_for, all_coops
from ledger.models import Coop, Maker, Membership, Reservation, Shortfall

# Common practice: two weeks after its day a plan is no longer meant.
PATIENCE: Final = timedelta(days=14)


def give_back_stale(*, now: datetime) -> int:
    """Free what plans long past still hold, for every maker; how many plans that were."""
    return sum(_of_coop(coop_id, now) for coop_id, _ in all_coops())


def _of_coop(coop_id: UUID, now: datetime) -> int:
    with transaction.atomic(durable=True):
        set_walls(coop_id, None)
        coop = Coop.objects.get(id=coop_id)
        makers = list(Maker.objects.values_list("id", flat=True))
    return sum(_of_maker(coop, maker, now) for maker in makers)


def _of_maker(coop: Coop, maker_id: UUID, now: datetime) -> int:
    """Each plan in a transaction of its own, so that nobody waits for all of them."""
    with transaction.atomic(durable=True):
        set_walls(coop.id, maker_id)
        holds = [
            Exists(rows.objects.filter(coop_id=coop.id, account_id=OuterRef("account_id")))
            for rows in (Reservation, Shortfall)
        ]
        actor = actor_for(coop, maker_id, 0, Membership.Role.OWNER)
        last_day = day_of(actor, now) - PATIENCE
        plans = Batch.objects.filter(
            holds[0] | holds[1], state=Batch.State.PLANNED, planned_for__lt=last_day
        )
        stale = list(plans.values_list("id", flat=True))
    for id in stale:
        _give_back(coop, maker_id, id, now)
    return len(stale)


def _give_back(coop: Coop, maker_id: UUID, id: UUID, now: datetime) -> None:
    with transaction.atomic(durable=True):
        set_walls(coop.id, maker_id)
        actor = actor_for(coop, maker_id, 0, Membership.Role.OWNER)
        batch = locked_batch(actor, id)
        if batch.state != Batch.State.PLANNED:
            return
        lock_pools(promised_materials(actor, batch.account_id))
        free(actor, batch.account_id)
        batch.note = f"What was reserved was given back on {day_of(actor, now)}: its day is past."
        batch.save(update_fields=["note"])
