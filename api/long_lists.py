"""Lists that are sent: tried, kept until somebody has looked at what was found, and taken in.

A short one is worked through while its sender waits, a long one by a worker, as whoever sent it,
within the walls of that maker and by the same verbs: it is tried, and taken in once that is asked
for, in one transaction or not at all. How far a worker is stands beside the transaction
(`ledger.progress`). The file is kept for as long as it is needed.
"""

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import connection, transaction
from django.db.models import Q, QuerySet

from api import kept_sentences
from api.list_cells import Signs
from api.list_findings import Findings, findings_of, findings_of_wrong, to_keep
from api.list_kinds import KINDS
from api.list_sheets import Asked, Listed, read_list
from api.models import SentList
from ledger import outbox
from ledger.access import Actor, find, set_walls
from ledger.acting_later import actor_by_then, maker_to_owe
from ledger.entries import EXPLAINED
from ledger.errors import Conflict, Invalid, Refusal, Sentence
from ledger.in_parts import Told, silent
from ledger.outbox import Work
from ledger.price_list_rows import ListRefused
from ledger.progress import Progress
from ledger.statements import unhurried

TRY, TAKE_IN = "try_list", "take_list_in"
# What fails so often is given up: somebody waits for it and can send it otherwise.
MOST_TRIES: Final = 3
# So many of one person may wait at a time.
MOST_WAITING: Final = 10
State = SentList.State
KEPT: Final = (State.WAITING, State.TRIED, State.TAKING)
# What tells how much of a step is done, by its name and how much there is of it.
Telling = Callable[[str, int], Told]
POINT: Final = Signs()
EXPLAINED["sent_list_goes_on"] = lambda facts: Conflict(
    "This list is done with already: look at it again."
)


class ThereAlready(Invalid):
    """Some of it is there already, or stands twice in the list: say that it is so meant."""

    code = "there_already"


class GivenUp(Conflict):
    """It was begun several times and did not come to an end: send it in parts, or tell whoever runs
    the server, whose log says why."""

    code = "given_up"


def send_list(
    actor: Actor, *, kind: str, name: str, content: bytes, now: datetime, signs: Signs = POINT
) -> SentList:
    """Try a list, at once or, where it is long, by a worker; its figures are written with `signs`.

    The same file again is the list that waits already, or is tried anew, since what was found then
    may be different by now; and so is one of the same name, since it was changed in between. Raises
    Forbidden, what the file is refused for, and Conflict where too many wait or nobody could work
    it through.
    """
    of = KINDS[kind]
    actor.must(of.verb)
    row = SentList(
        coop_id=actor.coop_id,
        maker_id=actor.maker_id,
        person_id=actor.person_id,
        kind=kind,
        name=" ".join(name.split())[:200],
        state=State.WAITING,
        size=len(content),
        digest=hashlib.sha256(content).digest(),
        content=content,
        found={"point": signs.point, "grouping": signs.grouping},
        sent_at=now,
        asked_at=now,
    )
    listed = _listed(row, at_most=of.most_at_once + 1)
    sent = lists_of(actor).filter(kind=kind)
    for waits in sent.filter(digest=row.digest, state=State.WAITING)[:1]:
        return waits
    sent.filter(Q(digest=row.digest) | Q(name=row.name), state=State.TRIED).delete()
    if lists_of(actor).filter(state__in=KEPT).count() >= MOST_WAITING:
        raise Conflict(
            Sentence(
                "{most} lists of yours wait already: take them in or drop them first.",
                most=MOST_WAITING,
            )
        )
    row.save(force_insert=True)
    if len(listed.rows) > of.most_at_once:
        _owe(actor, row, TRY)
    else:
        _settle(row, *_done(actor, row, listed, _untold))
    return row


def lists_of(actor: Actor) -> "QuerySet[SentList]":
    """The lists that the person has sent for the maker, the latest first, without their files."""
    rows = SentList.objects.filter(coop_id=actor.coop_id, person_id=actor.person_id)
    return rows.defer("content").order_by("-id")


def list_for(actor: Actor, id: UUID | str) -> SentList:
    """One of them. Raises NotFound."""
    return find(lists_of(actor), id)


def take_in(actor: Actor, *, id: UUID | str, sure: bool, now: datetime) -> SentList:
    """Take a list in that was tried, or have a worker do it where it is long; once, however often
    it is asked for.

    Raises NotFound, Forbidden, Conflict for one that cannot be taken in, and Invalid at /sure where
    some of it is there already.
    """
    row = _locked(actor, id)
    kind = KINDS[row.kind]
    actor.must(kind.verb)
    if row.state in (State.TAKING, State.TAKEN):
        return row
    if row.state != State.TRIED:
        raise Conflict("This list cannot be taken in: send it again.")
    if row.found and (row.found["known"] or row.found.get("twice")) and not sure:
        raise ThereAlready(pointer="/sure")
    row.state, row.sure, row.asked_at = State.TAKING, sure, now
    row.save(update_fields=["state", "sure", "asked_at"])
    if row.found and row.found["rows"] > kind.most_at_once:
        _owe(actor, row, TAKE_IN)
    else:
        _settle(row, *_done(actor, row, _listed(row), _untold))
    return row


def drop_list(actor: Actor, *, id: UUID | str) -> None:
    """Forget a list that is not being taken in, with its file. Raises NotFound, Conflict."""
    row = _locked(actor, id)
    if row.state == State.TAKING:
        raise Conflict("This list is being taken in: wait until that is done.")
    row.delete()


def forget() -> None:
    """Forget the lists that were sent more than seven days ago, in all co-ops."""
    with unhurried(), connection.cursor() as cursor:
        cursor.execute("select api_forget_lists()")


def _locked(actor: Actor, id: UUID | str) -> SentList:
    return find(lists_of(actor).select_for_update(no_key=True), id)


def _owe(actor: Actor, row: SentList, task: str) -> None:
    """Owe work about a list. Work is a maker's; the co-op's own is owed beside that of its first,
    who sees nothing of the list."""
    maker = maker_to_owe(actor)
    if maker is None:
        raise Conflict("The co-op has no maker yet: send the list in parts.")
    set_walls(actor.coop_id, maker)
    outbox.owe(actor.coop_id, maker, task, [row.id])
    set_walls(actor.coop_id, actor.maker_id)


@outbox.does(TRY)
def try_list(work: Work, now: datetime) -> None:
    """Try a list, and keep what was found; nothing of the list itself stays written."""
    _work_through(work, State.WAITING)


@outbox.does(TAKE_IN)
def take_list_in(work: Work, now: datetime) -> None:
    """Take a list in, whole or not at all."""
    _work_through(work, State.TAKING)


def _work_through(work: Work, state: str) -> None:
    row = _asked(work)
    if row is None or row.state != state:
        with outbox.inside(work):
            outbox.mark_done(work, note="done already, or dropped")
        return
    if work.attempts > MOST_TRIES:
        _stop(work, row, GivenUp().detail)
        return
    progress = Progress(row.id)
    try:
        listed = _listed(row, told=progress.telling("read"))
        with _settling(work, row, state) as actor:
            if actor is not None:
                _settle(row, *_done(actor, row, listed, progress.telling))
    except Refusal as refusal:
        _stop(work, row, refusal.detail)
    progress.forget()


def _asked(work: Work) -> SentList | None:
    """The list with its file, of the maker or else of the co-op."""
    with transaction.atomic(durable=True):
        for maker in (work.maker_id, None):
            set_walls(work.coop_id, maker)
            for row in SentList.objects.filter(id=work.subject):
                return row
    return None


def _untold(step: str, whole: int) -> Told:
    """Nobody is told how far a list is that is done while somebody waits."""
    return silent


def _listed(row: SentList, *, at_most: int | None = None, told: Told = silent) -> Listed:
    """The list as it was sent, or its first rows; how many are read is `told` in between."""
    signs = row.found or {}
    asked = Asked(
        KINDS[row.kind],
        bytes(row.content or b""),
        row.name,
        Signs(signs.get("point", POINT.point), signs.get("grouping", POINT.grouping)),
        row.asked_at.date(),
    )
    return read_list(asked, at_most=at_most, told=told)


@contextmanager
def _settling(work: Work, row: SentList, state: str) -> Iterator[Actor | None]:
    """One durable transaction of whoever sent the list, which marks the work as done.

    A list that is taken in is locked, so that of two workers one comes second; one that is tried
    may be dropped meanwhile. There is nobody to act where it is dropped or done already.
    """
    with transaction.atomic(durable=True):
        set_walls(row.coop_id, row.maker_id)
        rows = SentList.objects.filter(id=row.id, state=state)
        if state == State.TAKING:
            rows = rows.select_for_update(no_key=True)
        there = rows.values_list("id", flat=True).first()
        yield actor_by_then(row.coop_id, row.maker_id, row.person_id) if there else None
        set_walls(work.coop_id, work.maker_id)
        outbox.mark_done(work)


def _done(actor: Actor, row: SentList, listed: Listed, telling: Telling) -> tuple[str, Findings]:
    """The state in which a list is afterwards, and what was found in it."""
    kind = KINDS[row.kind]
    if row.state == State.WAITING:
        told = telling("looked", len(listed.rows))
        tried = kind.check(actor, listed.rows, row.asked_at, told)
        found = findings_of(kind, listed, tried)
        return (State.WRONG if found.wrong else State.TRIED), found
    try:
        return State.TAKEN, _kept(actor, row, listed, telling("taken", len(listed.rows)))
    except ListRefused as refused:
        return State.WRONG, findings_of_wrong(listed, refused.errors)


def _kept(actor: Actor, row: SentList, listed: Listed, told: Told) -> Findings:
    kind = KINDS[row.kind]
    with transaction.atomic():
        kept = kind.keep(actor, listed.rows, row.asked_at, told)
        if (getattr(kept, "known", ()) or getattr(kept, "twice", ())) and not row.sure:
            raise ThereAlready(pointer="/sure")
    return findings_of(kind, listed, kept)


def _settle(row: SentList, state: str, found: Findings) -> None:
    facts: dict[str, Any] = {} if state in KEPT else {"content": None}
    there = SentList.objects.filter(id=row.id, state=row.state)
    there.update(state=state, found=to_keep(found), **facts)


def _stop(work: Work, row: SentList, why: str) -> None:
    """Give a list up, and say why: as `why`, and as a reader's own language has it, as `found`."""
    with transaction.atomic(durable=True):
        set_walls(row.coop_id, row.maker_id)
        left = SentList.objects.filter(id=row.id, state=row.state)
        facts = {"why": str(why)[:400], "found": {"why": kept_sentences.to_keep(why)}}
        left.update(state=State.STOPPED, content=None, **facts)
        set_walls(work.coop_id, work.maker_id)
        outbox.mark_done(work, note="stopped")
