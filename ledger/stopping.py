"""Stopping a lot stops what was made from it: a hold that goes through every making.

A lot that is put on hold or rejected holds all that was made of it and still lies in store or in a
batch, through intermediates and rework, each by a decision of its own that names the first one.
Releasing the lot releases nothing else: it tells what it had held, for somebody to decide on.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models.functions import Now

from ledger.access import Actor, lot_for
from ledger.alerts import enqueue_checks
from ledger.documents import rest_on
from ledger.entries import account, lock_pools
from ledger.lots import custody_of, decide
from ledger.models import Account, Custody, Decision, Lot, Status
from ledger.roles import Verb

STOPS: Final = ("hold", "reject")
STOPPED: Final = (Status.HOLD, Status.REJECTED)
# All that was made of a lot, in one query: what went into a making and did not come back by a
# reversal, and what came out of it. UNION, so that a lot reached by two ways is followed once.
_MADE_OF: Final = """
with recursive reached(lot) as (
  select %(lot)s::uuid
  union
  select o.lot_id
    from reached r
    join ledger_posting i on i.coop_id = %(coop)s and i.lot_id = r.lot
      and i.account_id = %(making)s and i.quantity > 0
    join ledger_posting o on o.coop_id = i.coop_id and o.entry_id = i.entry_id
      and o.account_id = i.account_id and o.quantity < 0 and o.lot_id is not null
    where not exists (select from ledger_entry e
      where e.coop_id = %(coop)s and (e.reverses_id = i.entry_id
            or e.id = i.entry_id and e.reverses_id is not null))
)
select l.id, l.code, l.material_id, m.name, m.measured_by = 'count', c.status,
       coalesce(h.stored, 0), coalesce(h.batches, '{}'),
       c.status = 'hold' and exists (select from ledger_decision x
         where x.coop_id = l.coop_id and x.lot_id = %(lot)s and x.id = d.cause_id)
  from reached r
  join ledger_lot l on l.coop_id = %(coop)s and l.id = r.lot
  join ledger_material m on m.coop_id = l.coop_id and m.id = l.material_id
  join ledger_custody c on c.coop_id = l.coop_id and c.maker_id = %(maker)s and c.lot_id = l.id
  left join lateral (
    select sum(h.quantity) filter (where h.kind = 'store') as stored,
           array_agg(a.name order by a.name) filter (where h.kind = 'batch') as batches
      from ledger_holding h
      join ledger_account a on a.coop_id = h.coop_id and a.id = h.account_id
      where h.coop_id = l.coop_id and h.lot_id = l.id and h.maker_id = %(maker)s
        and h.kind in ('store', 'batch') and h.any_left) h on true
  left join lateral (
    select d.cause_id from ledger_decision d
      where d.coop_id = l.coop_id and d.maker_id = %(maker)s and d.lot_id = l.id
      order by d.id desc limit 1) d on true
 order by l.id
"""


@dataclass(frozen=True, slots=True)
class Affected:
    """A lot made from another: what is left of it, its status, and whether it is held for that.

    `batches` are those in process that have some of it. `decision` is the one that held it now.
    """

    id: UUID
    code: str
    material_id: UUID
    material_name: str
    counted: bool
    status: str
    on_hand: Decimal
    batches: Sequence[str]
    held_for_it: bool
    decision: UUID | None = None

    @property
    def is_there(self) -> bool:
        return self.on_hand > 0 or bool(self.batches)


@dataclass(frozen=True, slots=True)
class Decided:
    """A decision about a lot, and what was made from the lot.

    `in_process` are the batches that have some of the lot itself, and `documents` are the ids of
    those that the decision rests on.
    """

    lot: Lot
    decision: Decision
    affected: tuple[Affected, ...]
    in_process: Sequence[str]
    documents: Sequence[UUID] = ()


def decide_through(
    actor: Actor,
    *,
    lot: UUID | str,
    decision: str,
    basis: str,
    retest_on: date | None = None,
    documents: Sequence[UUID | str] = (),
) -> Decided:
    """Decide about a lot, and hold what was made from it where the lot is held or rejected.

    What is rejected or on hold already stays as it is. `documents` are those of the lot that the
    decision rests on. Raises what `ledger.lots.decide` and `ledger.documents.rest_on` do.
    """
    actor.must(Verb.DECIDE)
    found = lot_for(actor, lot)
    # All locks at once, in their order; whoever makes something of these lots meanwhile waits.
    lock_pools([found.material_id, *(one.material_id for one in made_of(actor, found))])
    found, kept = decide(actor, lot=found.id, decision=decision, basis=basis, retest_on=retest_on)
    rests_on = rest_on(actor, kept, found, documents) if documents else []
    root, *rest = sorted(
        made_of(actor, found, itself=True), key=lambda one: (one.id != found.id, one.id)
    )
    if decision in STOPS:
        word = "rejected" if decision == "reject" else "on hold"
        why = f"made from lot {found.code}, which is {word}: {basis}"[:400]
        rest = _hold(actor, rest, why, kept.id)
    return Decided(found, kept, tuple(rest), root.batches, rests_on)


def stop_through(actor: Actor, *, lot: UUID | str, basis: str) -> Decided:
    """Hold a lot and all that was made of it; what is rejected already is rejected once more.

    Raises what `decide_through` does.
    """
    found = lot_for(actor, lot)
    lock_pools([found.material_id, *(one.material_id for one in made_of(actor, found))])
    rejected = custody_of(actor, found).status == Status.REJECTED
    word = "reject" if rejected else "hold"
    return decide_through(actor, lot=found.id, decision=word, basis=basis)


def stop_if_made_of_stopped(actor: Actor, lot: Lot, inputs: Iterable[Lot]) -> Decision | None:
    """Hold a lot that was just made of something that is on hold or rejected by now.

    For what was weighed before the hold; the pools are locked by then. Returns the decision.
    """
    rows = Custody.objects.filter(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot__in=[one.id for one in inputs],
        status__in=STOPPED,
    )
    codes = sorted(rows.values_list("lot__code", flat=True))
    if not codes:
        return None
    why = f"made from {', '.join(codes)}, on hold or rejected when it was finished"[:400]
    own = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker, lot=lot)
    own.update(status=Status.HOLD, since=Now())
    cause = Decision.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, lot__code=codes[0]
    ).order_by("-id")
    return Decision.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot=lot,
        decision="hold",
        basis=why,
        cause=cause.first(),
        person_id=actor.person_id,
    )


def made_of(actor: Actor, lot: Lot, *, itself: bool = False) -> list[Affected]:
    """All that was made of a lot, through every making, in one query."""
    with connection.cursor() as cursor:
        cursor.execute(
            _MADE_OF,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "lot": lot.id,
                "making": account(actor, Account.Kind.MAKING, "making"),
            },
        )
        rows = [Affected(*row) for row in cursor.fetchall()]
    return rows if itself else [row for row in rows if row.id != lot.id]


def _hold(actor: Actor, found: list[Affected], why: str, cause: UUID) -> list[Affected]:
    """Hold those that are still there; in a few statements, however many they are."""
    held = [one for one in found if one.is_there and one.status not in STOPPED]
    decisions = {
        one.id: Decision(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            lot_id=one.id,
            decision="hold",
            basis=why,
            cause_id=cause,
            person_id=actor.person_id,
        )
        for one in held
    }
    Decision.objects.bulk_create(decisions.values())
    Custody.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, lot_id__in=decisions
    ).update(status=Status.HOLD, since=Now())
    enqueue_checks(actor, {one.material_id for one in held})
    return [
        replace(one, status=Status.HOLD, held_for_it=True, decision=decisions[one.id].id)
        if one.id in decisions
        else one
        for one in found
    ]
