"""Watches over stock, and the low-stock alerts that they open and close.

A check looks at one material of one maker. It is owed through the outbox by whatever may have
changed the answer: an entry (the database sees to that), a decision on a lot, a plan, the watch
itself; an hourly sweep finds what changed by the passing of time alone.

A check must not look before such a change is committed and after its row has been claimed, or the
change would go unseen. Therefore whoever owes a check holds the lock of the material's pool until
its commit, and the check takes the same lock before it looks.
"""

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

from ledger import outbox
from ledger.access import Actor, material_for, set_walls
from ledger.alert_book import Book, Finding
from ledger.balances import Position, position_of
from ledger.entries import lock_pools
from ledger.errors import (
    Invalid,
    NotFound,
    Sentence,
    Stale,
    placed,
)
from ledger.makers import all_coops
from ledger.measuring import measure
from ledger.models import Alert, AlertKind, Material, Watch
from ledger.outbox import Work
from ledger.quantities import Quantity
from ledger.roles import Verb
from ledger.running_out import Standing, ahead_of
from ledger.statements import run, unhurried
from ledger.usage_reading import mean_daily_use

LOW_STOCK: Final = AlertKind.LOW_STOCK
CHECK: Final = "check_watch"
SIX_PLACES: Final = Decimal("0.000001")
# The pools are locked before the first row is written: every row needs the lock's own.
_OWE_CHECKS: Final = """
with watched as (
  select material_id from ledger_watch
    where coop_id = %(coop)s and maker_id = %(maker)s
      and material_id = any (%(materials)s::uuid[])
), locked as materialized (
  select ledger_lock_pools(array(select material_id from watched order by 1))
    where exists (select from watched)
)
insert into ledger_outbox (coop_id, maker_id, id, task, subject)
select %(coop)s, %(maker)s, uuidv7(), %(task)s, material_id from locked cross join watched
union all
select %(coop)s, %(maker)s, uuidv7(), %(other_task)s, other
  from (select %(other)s::uuid) o(other) where other is not null
  on conflict do nothing
"""


def set_watch(
    actor: Actor,
    *,
    material: UUID | str,
    reorder_point: Quantity,
    safety_stock: Quantity | None = None,
    lead_days: int | None = None,
    version: int | None = None,
) -> Watch:
    """Warn the maker once the position of the material is at or below the reorder point.

    `safety_stock` is the part of the point that is to be there still when an order comes; what is
    needed is netted above it. `lead_days` are those from an order until what came of it may be
    used, where the maker states them: a batch that lacks some of it then tells by when to order.
    Where enough deliveries tell how long they really take, it goes by these.

    Raises NotFound, Invalid for what is not stocked and for a safety stock above the point, Stale
    when `version` is given and is not the watch's own, and what turning a quantity into grams or
    pieces raises.
    """
    actor.must(Verb.WATCH)
    watched = material_for(actor, material)
    if not watched.stocked:
        raise Invalid(Sentence("{name} is not stocked, so it never runs low.", name=watched.name))
    with placed("/reorder_point"):
        point = measure(reorder_point, watched).quantity
    safety = _safety(safety_stock, watched, point)
    lock_pools([watched.id])
    watch = _own_watches(actor).filter(material=watched).first()
    if version is not None and version != (watch.version if watch else None):
        raise Stale
    if watch is None:
        watch = Watch(coop_id=actor.coop_id, maker_id=actor.maker, material=watched)
    else:
        watch.version += 1
    watch.reorder_point, watch.entered = point, reorder_point.entered
    watch.safety_stock, watch.lead_days = safety, lead_days
    watch.save()
    enqueue_checks(actor, [watched.id])
    return watch


def _safety(stated: Quantity | None, material: Material, point: Decimal) -> Decimal | None:
    if stated is None:
        return None
    with placed("/safety_stock"):
        safety = measure(stated, material).quantity
        if safety > point:
            raise Invalid("The safety stock is a part of the point: make it no more than that.")
    return safety


def drop_watch(
    actor: Actor, *, material: UUID | str, now: datetime, version: int | None = None
) -> None:
    """Stop watching a material; its open alert is closed. Raises NotFound and Stale."""
    actor.must(Verb.WATCH)
    watched = material_for(actor, material)
    lock_pools([watched.id])
    watch = watch_for(actor, watched.id)
    if version is not None and version != watch.version:
        raise Stale
    watch.delete()
    book = Book(actor.coop_id, actor.maker, now)
    book.close(book.standing(LOW_STOCK, [watched.id]).values())


def watch_for(actor: Actor, material: UUID | str) -> Watch:
    """The maker's watch over a material. Raises NotFound."""
    actor.must(Verb.READ)
    watched = material_for(actor, material)
    watch = _own_watches(actor).filter(material=watched).first()
    if watch is None:
        raise NotFound
    return watch


def watches(actor: Actor) -> "QuerySet[Watch]":
    """The maker's watches with their materials."""
    actor.must(Verb.READ)
    return _own_watches(actor)


def enqueue_checks(
    actor: Actor, material_ids: Iterable[UUID], other: tuple[str, UUID] | None = None
) -> None:
    """Owe a check of each watched material, for a verb whose change no entry tells of.

    With it goes other work that the same change owes: a task and what it is about. Call it last in
    the verb: it locks the materials' pools until the transaction ends.
    """
    wanted = sorted(set(material_ids))
    if wanted:
        own = {"coop": actor.coop_id, "maker": actor.maker, "materials": wanted, "task": CHECK}
        task, about = other or ("", None)
        run(_OWE_CHECKS, {**own, "other_task": task, "other": about})


@outbox.does(CHECK)
def check_watch(work: Work, now: datetime) -> None:
    """Look at one watched material: open its alert, or close it."""
    with outbox.inside(work):
        look_at(work.coop_id, work.maker_id, work.subject, now=now)
        outbox.mark_done(work)


def look_at(coop_id: UUID, maker_id: UUID, material_id: UUID, *, now: datetime) -> Alert | None:
    """Open the alert of a material that is low, close that of one that is not.

    Inside the maker's walls, in the open transaction. Returns the alert when it was opened now,
    and has then owed its messages; looking twice changes nothing.
    """
    lock_pools([material_id])
    watches = Watch.objects.select_related("material")
    watch = watches.filter(maker_id=maker_id, material_id=material_id).first()
    if watch is None:
        return None
    book = Book(coop_id, maker_id, now)
    day = now.astimezone(book.announcer.zone).date()
    stands, standing = position_of(material_id, on=day), book.standing(LOW_STOCK, [material_id])
    if stands.position > watch.reorder_point:
        book.close(standing.values())
        return None
    if standing:
        return None
    (alert,) = book.open(LOW_STOCK, [_low(watch, stands, day)])
    return alert


def sweep(coop_id: UUID, *, now: datetime) -> int | None:
    """Owe a check wherever time alone, such as an expiry, has moved a material across its point.

    Inside the co-op's walls, in the open transaction. Once an hour for each co-op, whoever comes
    first; returns how many checks are owed, or None for who comes second.
    """
    hour = now.replace(minute=0, second=0, microsecond=0)
    with connection.cursor() as cursor:
        cursor.execute("select ledger_sweep_watches(%s, %s)", [hour, now])
        (owed,) = cursor.fetchone()
    return None if owed is None else int(owed)


def sweep_all(*, now: datetime) -> int:
    """Sweep every co-op, each in a transaction of its own; returns how many checks are owed."""
    owed = 0
    for coop_id, _ in all_coops():
        with unhurried():
            set_walls(coop_id, None)
            owed += sweep(coop_id, now=now) or 0
    return owed


def _own_watches(actor: Actor) -> "QuerySet[Watch]":
    return Watch.objects.select_related("material").filter(maker_id=actor.maker)


def _low(watch: Watch, stands: Position, day: date) -> Finding:
    """What is so of a material that is low, with its usual use and the day on which it runs out."""
    used = mean_daily_use(watch.coop_id, watch.maker_id, [watch.material_id], today=day)
    daily_use = used.get(watch.material_id, Decimal(0)).quantize(SIX_PLACES)
    asked = ahead_of(watch.coop_id, watch.maker_id, day, "id")
    rows = Material.objects.filter(coop_id=watch.coop_id, id=watch.material_id)
    ahead = rows.annotate(ahead=asked).values_list("ahead", flat=True).get()
    ends = Standing.told(ahead, daily_use, day).runs_out_on
    facts = {
        "name": watch.material.name,
        "counted": watch.material.counted,
        "position": f"{stands.position:f}",
        "reorder_point": f"{watch.reorder_point:f}",
        "available": f"{stands.available:f}",
        "daily_use": f"{daily_use:f}",
        "runs_out_on": ends.isoformat() if ends else None,
    }
    return Finding(
        watch.material_id,
        facts,
        material_id=watch.material_id,
        position=stands.position,
        reorder_point=watch.reorder_point,
    )
