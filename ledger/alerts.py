"""Watches over stock, and the alerts that they open and close.

A check looks at one material of one maker. It is owed through the outbox by whatever may have
changed the answer: an entry (the database sees to that), a decision on a lot, a plan, the watch
itself; an hourly sweep finds what changed by the passing of time alone.

A check must not look before such a change is committed and after its row has been claimed, or the
change would go unseen. Therefore whoever owes a check holds the lock of the material's pool until
its commit, and the check takes the same lock before it looks.
"""

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.mail import EmailMessage
from django.db import connection, transaction
from django.db.models import QuerySet

from ledger import outbox
from ledger.access import Actor, find, material_for, set_walls
from ledger.balances import position_of
from ledger.entries import lock_pools
from ledger.errors import Invalid, NotFound, Stale, placed
from ledger.makers import all_coops
from ledger.measuring import measure
from ledger.models import Alert, Coop, Maker, Membership, Watch
from ledger.outbox import Work
from ledger.quantities import Quantity
from ledger.roles import Verb
from ledger.statements import run

LOW_STOCK: Final = "low_stock"
CHECK, MAIL = "check_watch", "mail_alert"
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
  on conflict do nothing
"""


def set_watch(
    actor: Actor,
    *,
    material: UUID | str,
    reorder_point: Quantity,
    version: int | None = None,
) -> Watch:
    """Warn the maker once the position of the material is at or below the reorder point.

    Raises NotFound, Invalid for what is not stocked, Stale when `version` is given and is not the
    watch's own, and what turning the quantity into grams or pieces raises.
    """
    actor.must(Verb.WATCH)
    watched = material_for(actor, material)
    if not watched.stocked:
        raise Invalid(f"{watched.name} is not stocked, so it never runs low.")
    with placed("/reorder_point"):
        point = measure(reorder_point, watched).quantity
    lock_pools([watched.id])
    watch = _own_watches(actor).filter(material=watched).first()
    if version is not None and version != (watch.version if watch else None):
        raise Stale
    if watch is None:
        watch = Watch(coop_id=actor.coop_id, maker_id=actor.maker, material=watched)
    else:
        watch.version += 1
    watch.reorder_point, watch.entered = point, reorder_point.entered
    watch.save()
    enqueue_checks(actor, [watched.id])
    return watch


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
    _open_alerts(actor.maker, watched.id).update(closed_at=now)


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


def alerts(actor: Actor, *, open: bool | None = None) -> "QuerySet[Alert]":
    """The maker's alerts with their materials: all of them, or only the open or the closed.

    An alert keeps the position and the reorder point that it was opened with.
    """
    actor.must(Verb.READ)
    rows = Alert.objects.select_related("material").filter(maker_id=actor.maker)
    return rows if open is None else rows.filter(closed_at__isnull=open)


def alert_for(actor: Actor, id: UUID | str) -> Alert:
    """One of the maker's alerts. Raises NotFound."""
    return find(alerts(actor), id)


def enqueue_checks(actor: Actor, material_ids: Iterable[UUID]) -> None:
    """Owe a check of each watched material, for a verb whose change no entry tells of.

    Call it last in the verb: it locks the materials' pools until the transaction ends.
    """
    wanted = sorted(set(material_ids))
    if wanted:
        own = {"coop": actor.coop_id, "maker": actor.maker}
        run(_OWE_CHECKS, {**own, "materials": wanted, "task": CHECK})


@outbox.does(CHECK)
def check_watch(work: Work, now: datetime) -> None:
    """Look at one watched material: open its alert, or close it."""
    with outbox.inside(work):
        look_at(work.coop_id, work.maker_id, work.subject, now=now)
        outbox.mark_done(work)


def look_at(coop_id: UUID, maker_id: UUID, material_id: UUID, *, now: datetime) -> Alert | None:
    """Open the alert of a material that is low, close that of one that is not.

    Inside the maker's walls, in the open transaction. Returns the alert when it was opened now,
    and has then owed its mail; looking twice changes nothing.
    """
    lock_pools([material_id])
    watch = Watch.objects.filter(maker_id=maker_id, material_id=material_id).first()
    if watch is None:
        return None
    zone = Coop.objects.values_list("time_zone", flat=True).get(id=coop_id)
    day = now.astimezone(ZoneInfo(zone)).date()
    position = position_of(material_id, on=day)
    low, standing = position <= watch.reorder_point, _open_alerts(maker_id, material_id)
    if not low:
        standing.update(closed_at=now)
    elif not standing.exists():
        return _open(watch, position, now)
    return None


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
        with transaction.atomic(durable=True):
            set_walls(coop_id, None)
            owed += sweep(coop_id, now=now) or 0
    return owed


@outbox.does(MAIL)
def mail_alert(work: Work, now: datetime) -> None:
    """Mail an alert to the maker's owners.

    Between the sending and the mark the worker may die; the mail then goes out once more, and its
    Message-ID, made from the alert's id, says that it is the same.
    """
    with outbox.inside(work):
        alert = Alert.objects.select_related("material").get(id=work.subject)
        addresses = _owners_addresses(work.maker_id)
        nobody = "" if addresses else "no owner has an e-mail address"
        over = "closed before it was mailed" if alert.closed_at else ""
        message = _message(alert, addresses)
        if nobody or over:
            outbox.mark_done(work, note=over or nobody)
            return
    message.send()
    with outbox.inside(work):
        outbox.mark_done(work)


def _own_watches(actor: Actor) -> "QuerySet[Watch]":
    return Watch.objects.select_related("material").filter(maker_id=actor.maker)


def _open_alerts(maker_id: UUID, material_id: UUID) -> "QuerySet[Alert]":
    return Alert.objects.filter(
        maker_id=maker_id, material_id=material_id, kind=LOW_STOCK, closed_at=None
    )


def _open(watch: Watch, position: Decimal, now: datetime) -> Alert:
    alert = Alert.objects.create(
        coop_id=watch.coop_id,
        maker_id=watch.maker_id,
        kind=LOW_STOCK,
        material_id=watch.material_id,
        position=position,
        reorder_point=watch.reorder_point,
        opened_at=now,
    )
    outbox.owe(watch.coop_id, watch.maker_id, MAIL, [alert.id])
    return alert


def _owners_addresses(maker_id: UUID) -> list[str]:
    owners = Membership.objects.filter(maker_id=maker_id, role=Membership.Role.OWNER)
    found = owners.exclude(person__email="").filter(person__is_active=True)
    return sorted(found.values_list("person__email", flat=True))


def _message(alert: Alert, addresses: list[str]) -> EmailMessage:
    coop = Coop.objects.get(id=alert.coop_id)
    maker = Maker.objects.get(id=alert.maker_id)
    opened_at = alert.opened_at.astimezone(ZoneInfo(coop.time_zone))
    # A name is a person's text, which may have lines of its own.
    name, counted = " ".join(alert.material.name.split()), alert.material.counted
    position, point = shown(alert.position, counted), shown(alert.reorder_point, counted)
    lines = (
        f"{name} is running low at {maker.name}.",
        "",
        f"Position:       {position}",
        f"Reorder point:  {point}",
        f"Noticed:        {opened_at:%Y-%m-%d %H:%M} ({coop.time_zone})",
        "",
        "The position is what may be used today and what is on order, less all that planned",
        "batches need. Lots in quarantine, on hold, rejected or past their date do not count.",
        "",
        "You will hear of this again only after the position has been above the point.",
        "",
    )
    return EmailMessage(
        subject=f"{name} is low: {position}, reorder at {point}",
        body="\n".join(lines),
        to=addresses,
        headers={"Message-ID": f"<{alert.id}@stillroom>"},
    )


def shown(quantity: Decimal, counted: bool) -> str:
    """A quantity for people, exact: 18500 grams are "18.5 kg", 320 are "320 g"."""
    if counted:
        return f"{quantity.normalize():f} each"
    if abs(quantity) >= 1000:
        return f"{(quantity / 1000).normalize():f} kg"
    return f"{quantity.normalize():f} g"
