"""Notices of a recall to the other makers of the co-op, and what they answer: quantities alone.

A notice says which lot, and how much of it went to whom it is for. Whether to hold the goods is
each holder's own decision.
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from ledger import outbox
from ledger.access import Actor, find
from ledger.entries import account
from ledger.errors import Invalid
from ledger.models import Account, Maker, Recall, RecallAnswer, RecallNotice
from ledger.recall_snapshots import tally_of
from ledger.recall_tallies import Tally, as_facts, from_facts
from ledger.recalling import recall_list
from ledger.reviewing import REVIEW
from ledger.roles import Verb
from ledger.stopping import stop_through

_MOVED: Final = """
select p.account_id, p.lot_id, sum(p.quantity) from ledger_posting p
  where p.coop_id = %s and p.lot_id = any(%s::uuid[]) and p.account_id = any(%s::uuid[])
  group by 1, 2 order by 1, 2
"""
Corrections = Mapping[str, Mapping[str, Decimal]]


@dataclass(frozen=True, slots=True)
class Answered:
    """What became of a notice of one's own recall, or of one by which it was passed on.

    `maker` is None for the latter: whom another maker told is its own affair. `counts` is false
    for what is in another answer already.
    """

    notice: UUID
    maker: UUID | None
    lot_id: UUID
    quantity: Decimal
    sent_at: datetime
    answered_at: datetime | None
    held: bool
    tally: Tally | None
    reason: str
    counts: bool


def send_notices(
    actor: Actor,
    *,
    root: UUID,
    lots: Iterable[UUID],
    reason: str,
    happened_at: datetime,
    recall: Recall | None = None,
    passes_on: RecallNotice | None = None,
) -> None:
    """Tell every maker to whom some of these lots went, and the one that the root lot came from.

    Nobody is told twice of the same, and whoever sent a notice is not told it again.
    """
    others = Maker.objects.filter(coop_id=actor.coop_id).exclude(id=actor.maker)
    if passes_on is not None:
        others = others.exclude(id=passes_on.maker_id)
    by_account = {
        account(actor, kind, str(id)): id
        for id in others.values_list("id", flat=True)
        for kind in (Account.Kind.SETTLEMENT, Account.Kind.LOAN)
    }
    with connection.cursor() as cursor:
        cursor.execute(_MOVED, [actor.coop_id, list(lots), list(by_account)])
        rows = cursor.fetchall()
    moved: dict[tuple[UUID, UUID], Decimal] = defaultdict(Decimal)
    for owing, lot, quantity in rows:
        moved[by_account[owing], lot] += quantity
    RecallNotice.objects.bulk_create(
        [
            RecallNotice(
                coop_id=actor.coop_id,
                maker_id=actor.maker,
                to_maker_id=to,
                recall=recall,
                passes_on=passes_on,
                lot_id=lot,
                quantity=max(quantity, Decimal(0)),
                reason=reason,
                happened_at=happened_at,
                person_id=actor.person_id,
            )
            for (to, lot), quantity in moved.items()
            if quantity > 0 or (quantity < 0 and lot == root)
        ],
        ignore_conflicts=True,
    )


def notices_of(actor: Actor, *, incoming: bool | None = None) -> "QuerySet[RecallNotice]":
    """The notices that one was sent (`incoming` true), sent (false), or both; with their lots."""
    actor.must(Verb.READ)
    sent, had = Q(maker_id=actor.maker), Q(to_maker_id=actor.maker)
    rows = RecallNotice.objects.filter({None: sent | had, True: had, False: sent}[incoming])
    return rows.select_related("lot__material", "maker", "to_maker")


def unanswered(actor: Actor) -> "QuerySet[RecallNotice]":
    """The notices that wait for one's own answer."""
    answered = RecallAnswer.objects.filter(notice_id=OuterRef("id"), maker_id=F("notice__to_maker"))
    return notices_of(actor, incoming=True).filter(~Exists(answered))


def notice_for(actor: Actor, id: UUID | str) -> RecallNotice:
    """A notice that one sent or was sent. Raises NotFound."""
    return find(notices_of(actor), id)


def latest_answers(notices: Iterable[RecallNotice]) -> dict[UUID, RecallAnswer]:
    """The latest answer to each of these notices that has one, in one query."""
    rows = RecallAnswer.objects.filter(notice__in=[notice.id for notice in notices])
    return {row.notice_id: row for row in rows.order_by("notice", "-id").distinct("notice")}


def answer_notice(
    actor: Actor,
    *,
    notice: UUID | str,
    hold: bool = False,
    corrected: Corrections | None = None,
    reason: str = "",
) -> RecallAnswer:
    """Answer with what one's own records say, or with other figures for a reason.

    With `hold` the lot and all that was made of it are held first. Whoever had some of the lot
    from here is sent a notice in turn. Raises NotFound, and Invalid for a notice of one's own, a
    correction that says no reason, and figures that cannot be so.
    """
    actor.must(Verb.DECIDE)
    found = notice_for(actor, notice)
    if found.to_maker_id != actor.maker:
        raise Invalid("This notice is your own; the maker it was sent to answers it.")
    if corrected and not reason.strip():
        raise Invalid("Say why your records are not right.", pointer="/reason")
    decided = None
    if hold:
        basis = f"recalled by {found.maker.name}: {found.reason}"[:400]
        decided = stop_through(actor, lot=found.lot_id, basis=basis)
    listed = recall_list(actor, lot=found.lot_id, since=found.happened_at)
    tally, known = tally_of(listed), corrected or {}
    _check(found, tally, known)
    send_notices(
        actor,
        root=found.lot_id,
        lots=[lot.id for lot in listed.lots],
        reason=found.reason,
        happened_at=found.happened_at,
        passes_on=found,
    )
    answer = RecallAnswer.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        to_maker_id=found.maker_id,
        notice=found,
        tally=as_facts(tally),
        corrected=_kept(known),
        reason=reason,
        decision=None if decided is None else decided.decision,
        person_id=actor.person_id,
    )
    # What is answered is no news any more.
    outbox.owe(actor.coop_id, actor.maker, REVIEW, [answer.id])
    return answer


def _check(notice: RecallNotice, tally: Tally, corrected: Corrections) -> None:
    """Raises Invalid for corrections of what the records say that cannot be so."""
    # Some of the lot may have come by way of another maker, too.
    there, counted = max(notice.quantity, tally.received), notice.lot.material.counted
    tally.corrected(corrected).check(corrected, counted=counted, there=there)


def _kept(corrected: Corrections) -> dict[str, dict[str, str]]:
    return {
        name: {unit: f"{quantity:.6f}" for unit, quantity in given.items()}
        for name, given in corrected.items()
    }


def tally_told(tally: Mapping[str, Any], corrected: Mapping[str, Mapping[str, str]]) -> Tally:
    """What an answer says: the records, with what its maker knows better."""
    figures = {
        name: {unit: Decimal(quantity) for unit, quantity in given.items()}
        for name, given in corrected.items()
    }
    return from_facts(tally).corrected(figures)


def answers_to(actor: Actor, recall: Recall) -> list[Answered]:
    """The notices of one's own recall with their latest answers, in one query."""
    with connection.cursor() as cursor:
        cursor.execute(
            "select notice, maker, lot, quantity, sent_at, answered_at, held, tally::text,"
            " corrected::text, reason, counts from ledger_recall_answers(%s)",
            [recall.id],
        )
        rows = cursor.fetchall()
    return [_answered(*row) for row in rows]


def _answered(*row: Any) -> Answered:
    *first, tally, corrected, reason, counts = row
    told = None if tally is None else tally_told(json.loads(tally), json.loads(corrected))
    return Answered(*(*first, told, reason or "", counts))
