"""When a maker opened a lot: a container that is open lasts only so long, whatever its expiry says.

For how long is a fact of the material, as its supplier's data sheet has it; PostgreSQL adds it up
and keeps the day in the lot's custody. A retest does not move it: what is tested may be good, and
the days after opening were set for what gets in with air and spoons. Nothing is rewritten; of what
is said of one lot the latest stands.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import OuterRef, QuerySet, Subquery

from ledger.access import Actor, lot_for
from ledger.alerts import enqueue_checks
from ledger.entries import explained, lock_pools
from ledger.errors import Invalid
from ledger.lots import must_be_stocked
from ledger.models import Custody, Lot, LotOpening, Material
from ledger.roles import Verb
from ledger.statements import run

# What comes out of an open container is open, too, and since the same day. That it is open since it
# was drawn off, its own draws show.
_OPEN_TOO: Final = """
insert into ledger_lotopening (coop_id, maker_id, id, lot_id, opened_on, use_within_days, reason,
                               entry_id, person_id, recorded_at)
select %(coop)s, %(maker)s, uuidv7(), o.lot, d.opened_on, d.use_by - d.opened_on, '',
       %(entry)s, %(person)s, clock_timestamp()
  from ledger_open_since(%(maker)s, %(lot)s) d cross join unnest(%(lots)s::uuid[]) o(lot)
  where d.use_by is not null or d.opened_on < ledger_first_drawn(%(maker)s, o.lot)
  order by o.lot
"""


def say_opened(
    actor: Actor, *, lot: UUID | str, opened_on: date | None, reason: str = ""
) -> LotOpening:
    """Keep on which day the maker opened a lot; None puts right that it is not open after all.

    It may be used for as many days as its material says today, or without an end of its own until
    it says some. A lot of several containers is open as a whole. Whoever goes on with another
    container says its day, later than draws that stand; that, and to put right what was said
    before, asks for a reason. A draw that is told afterwards, of a day before, opens the lot on
    that day again: nobody had it in mind. Raises NotFound, Forbidden, and Invalid for a day that
    lies in the future or before the lot's arrival, no reason, or pieces, each of which is opened by
    itself.
    """
    actor.must(Verb.MAKE)
    found = lot_for(actor, lot)
    must_be_stocked(found.material, "")
    if found.material.counted and opened_on is not None:
        raise Invalid(
            "Each piece is opened by itself: the lot as a whole is never open.",
            pointer="/opened_on",
        )
    # Whoever draws holds this lock when looking whether it is open: one of the two comes first.
    lock_pools([found.material_id])
    if opened_on is None and open_since(actor, found) is None:
        raise Invalid("Nobody has opened it: give the day on which you did.", pointer="/opened_on")
    # As it is by now, whoever changed it while the lock was waited for.
    days = Material.objects.values_list("use_within_days", flat=True).get(id=found.material_id)
    kept = LotOpening(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot=found,
        opened_on=opened_on,
        use_within_days=None if opened_on is None else days,
        reason=reason.strip(),
        person_id=actor.person_id,
    )
    with explained():
        kept.save(force_insert=True)
    # The database has its own clock.
    kept.refresh_from_db(fields=["recorded_at"])
    enqueue_checks(actor, [found.material_id])
    return kept


def openings_of(actor: Actor, lot: Lot) -> "QuerySet[LotOpening]":
    """What the maker has said of a lot's opening, the latest first. Raises Forbidden."""
    actor.must(Verb.READ)
    rows = LotOpening.objects.filter(maker_id=actor.maker, lot=lot)
    return rows.select_related("entry").order_by("-id")


def open_since(actor: Actor, lot: Lot) -> date | None:
    """Since when the maker's lot is open, as was said or as its draws show. Raises Forbidden."""
    actor.must(Verb.READ)
    found = run("select opened_on from ledger_open_since(%s, %s)", [actor.maker, lot.id]).fetchone()
    return None if found is None else found[0]


def opened_by(actor: Actor, lot: Lot, entry: UUID) -> LotOpening | None:
    """The opening of a lot that a draw of it was, if it was one. Raises Forbidden."""
    actor.must(Verb.READ)
    rows = LotOpening.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker)
    return rows.filter(lot=lot, entry_id=entry).first()


def open_with(actor: Actor, lot: Lot, drawn: Sequence[Lot], entry: UUID) -> None:
    """Lots that an entry drew from an open lot are open as it is."""
    with connection.cursor() as cursor:
        cursor.execute(
            _OPEN_TOO,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "lot": lot.id,
                "lots": [one.id for one in drawn],
                "entry": entry,
                "person": actor.person_id,
            },
        )


def give_days(material: Material) -> None:
    """What is open of a material that came by its days once open, ends by them with every maker.

    It locks the pools of all that have some until the transaction ends: call it last in the verb.
    """
    run("select ledger_give_days(%s)", [material.id])


def opens_until(actor: Actor, custody: Custody | None, day: date) -> date | None:
    """By when a lot is to be used that is opened by taking some of it on a day; None if it is not.

    PostgreSQL opens it where an entry draws, fills, decants or issues (post_entry.sql); this tells
    it beforehand. What was drawn before its material had days opened it on that day, also where
    nothing was left of it when they came, and some has come back since.
    """
    if custody is None or not _moves_opening(custody, day):
        return None
    arrived: date = custody.lot.arrived_on
    if custody.opened_on is not None:
        own = None if custody.use_by is None else custody.use_by - custody.opened_on
        return None if own is None else max(day, arrived) + own
    with connection.cursor() as cursor:
        cursor.execute("select ledger_first_drawn(%s, %s)", [actor.maker, custody.lot_id])
        (drawn,) = cursor.fetchone()
    opened = max(arrived, day if drawn is None else min(day, drawn))
    return opened + timedelta(days=custody.lot.material.use_within_days)


def opened_until(actor: Actor, custody: Custody | None, day: date, entry: UUID) -> date | None:
    """By when a lot is to be used that an entry opened, which took some of it on a day.

    `custody` is as it was before; None where the entry opened nothing.
    """
    if custody is None or not _moves_opening(custody, day):
        return None
    opening = opened_by(actor, custody.lot, entry)
    return None if opening is None else opening.use_by


def _moves_opening(custody: Custody, day: date) -> bool:
    """Whether taking some of a lot on a day opens it, or shows that it was open before."""
    if custody.opened_on is None:
        return custody.lot.material.use_within_days is not None
    return bool(custody.opened_on > max(day, custody.lot.arrived_on))


def use_by_of(lot: str = "lot_id") -> Subquery:
    """The day by which the maker of a row is to use its lot since opening it, to annotate with."""
    own = Custody.objects.filter(
        coop_id=OuterRef("coop_id"), maker_id=OuterRef("maker_id"), lot_id=OuterRef(lot)
    )
    return Subquery(own.values("use_by")[:1])
