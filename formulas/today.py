"""What a maker is to look at today: short batches, low stock, dates that come near, and whatever
waits for a decision. Each list is cut after a few rows, and is told to be; the pages behind it show
the rest."""

from collections.abc import Sequence, Set
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db.models import (
    BooleanField,
    Case,
    Exists,
    ExpressionWrapper,
    F,
    JSONField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
    Window,
)
from django.db.models.functions import Least, RowNumber

from formulas.access import batches_of, standing
from formulas.complaints import Report, reports_waiting
from formulas.lacking import Short, short_batches
from formulas.models import Batch, Filling, Formula, Making, Product, Weighing
from formulas.use_soon import Ending, endings, with_uses
from formulas.weighed_out import with_weighed_out
from ledger.access import Actor, day_of
from ledger.alert_answers import alerts
from ledger.alert_texts import told
from ledger.claiming import claims_of
from ledger.models import (
    Account,
    Alert,
    AlertKind,
    Claim,
    Custody,
    Holding,
    RecallNotice,
    SourceTest,
    Status,
    Transfer,
)
from ledger.opened_lots import use_by_of
from ledger.places import out_of_place, some_left
from ledger.recall_notices import unanswered
from ledger.roles import Verb
from ledger.round_waiting import Waiting, rounds_waiting
from ledger.running_out import Standing, ahead_of
from ledger.source_tests import sources_to_test
from ledger.transferring import Offered, offered, transfers_of

SOON: Final = timedelta(days=30)
MOST: Final = 8
# Of batches three lists are made; of lots that end, so many of each list are not told twice.
MOST_IN_ALL: Final = 2 * MOST
# What has no list of its own here, with the act that resolves it.
ALERTED: Final = (AlertKind.LOW_STOCK, AlertKind.PRICE_JUMP, AlertKind.DEPOSIT_UNCLAIMED)
# What has one, and is told as an alert only where the list does not tell it.
LISTED: Final = (AlertKind.BATCH_SHORT, AlertKind.EXPIRING, AlertKind.RETEST_DUE)


@dataclass(frozen=True, slots=True)
class Alerted:
    """An open alert that nobody has acknowledged or put off, in a line.

    Of a material that is low it says how the maker `stands` with it by now, None of what is no
    material that is low. What the maker makes itself is planned as `made_as`, such as "formula:"
    and an id; "" for others.
    """

    alert: Alert
    words: str
    stands: Standing | None
    made_as: str


@dataclass(frozen=True, slots=True)
class Today:
    """All of it, the most urgent first in each list.

    What a batch of `short` lacks is not all in store; what one of `found` lacked when it was
    planned is, by now; one of `ready` lacks nothing, and one of `weighed` is to be finished.
    `deviates` says that a rule was overridden in a batch. A holding of `expiring` has its lot and
    the day it `ends`; `retests` are those whose retest comes first. `undecided` are lots that
    nobody has released yet and of which there is something in store; such a lot `deviates` where
    the batch that it was `made_in`, or its filling, does. `misplaced` are lots that lie where they
    do not belong. `sources` are tests after which the source is to be tested again. `claims` are
    those on one's own shares. `more` names the lists that go on: "planned" is that of the batches.
    The rounds have names of their own.
    """

    day: date
    short: Sequence[Short]
    found: Sequence[Short]
    ready: Sequence[Batch]
    weighed: Sequence[Batch]
    alerted: Sequence[Alerted]
    expiring: Sequence[Ending]
    retests: Sequence[Holding]
    undecided: Sequence[Custody]
    misplaced: Sequence[Custody]
    offers: Sequence[Offered]
    notices: Sequence[RecallNotice]
    claims: Sequence[Claim]
    reports: Sequence[Report]
    sources: Sequence[SourceTest]
    rounds: Waiting
    more: Set[str]

    @property
    def nothing(self) -> bool:
        """Whether none of it waits."""
        lists = (self.short, self.found, self.ready, self.alerted, self.expiring, self.retests)
        others = (self.undecided, self.misplaced, self.offers, self.notices, self.claims)
        rules = (self.reports, self.sources)
        return not any((*lists, self.weighed, *others, *rules, *self.rounds.lists))


def today(actor: Actor, *, now: datetime) -> Today:
    """What waits for the maker, in a fixed number of queries. Raises Forbidden."""
    actor.must(Verb.READ)
    day, more = day_of(actor, now), set[str]()
    batches = batches_of(actor).filter(state=Batch.State.PLANNED).order_by("planned_for", "id")
    batches = batches.annotate(deviates=Exists(_deviating(OuterRef("id"))))
    planned = _first("planned", with_weighed_out(batches), more, MOST_IN_ALL)
    lacking = short_batches(actor, planned)
    known = {one.batch.id for one in lacking}
    offers = transfers_of(actor, incoming=True, state=Transfer.State.OPEN).order_by("id")
    ending = list(_expiring(actor, day))
    retests = [one for one in ending if one.again]
    expiring = [one for one in ending if not one.again]
    waiting = list(_waiting(actor))
    undecided = [one for one in waiting if one.status == Status.QUARANTINE]
    misplaced = [one for one in waiting if one.out]
    fit = [batch for batch in planned if batch.id not in known]
    return Today(
        day=day,
        short=[one for one in lacking if one.to_get],
        found=[one for one in lacking if not one.to_get],
        ready=[one for one in fit if not one.weighed_out],
        weighed=[one for one in fit if one.weighed_out],
        alerted=_alerted(actor, now, known | {one.lot_id for one in ending}, more),
        expiring=endings(_first("expiring", expiring, more), day),
        retests=_first("retests", retests, more),
        undecided=_first("undecided", undecided, more),
        misplaced=_first("misplaced", misplaced, more),
        offers=offered(_first("offers", offers, more)),
        notices=_first("notices", unanswered(actor).order_by("id"), more),
        claims=_first("claims", _claims(actor, now), more),
        reports=_first("reports", reports_waiting(actor, most=MOST_IN_ALL), more),
        sources=_first("sources", sources_to_test(actor, day=day, most=MOST + 1), more),
        rounds=rounds_waiting(actor, now=now, most=MOST),
        more=more,
    )


def _first(name: str, rows: Any, more: set[str], most: int = MOST) -> list[Any]:
    """So many of the rows; `more` gets the name of a list that goes on."""
    found = list(rows[: most + 1])
    if len(found) > most:
        more.add(name)
    return found[:most]


def _alerted(actor: Actor, now: datetime, listed: Set[UUID], more: set[str]) -> list[Alerted]:
    """Open alerts, but for those of what is `listed` with an act of its own."""
    open_now = Q(snoozed_until=None) | Q(snoozed_until__lte=now)
    rows = alerts(actor, open=True).filter(open_now, acknowledged_at=None)
    rows = rows.filter(Q(kind__in=ALERTED) | Q(kind__in=LISTED) & ~Q(subject__in=listed))
    of = {"coop_id": actor.coop_id, "material_id": OuterRef("material_id")}
    makes: dict[str, Any] = {
        name: Subquery(kind.objects.filter(**of).values("id")[:1])
        for name, kind in (("product", Product), ("formula", Formula))
    }
    day = day_of(actor, now)
    low = When(kind=AlertKind.LOW_STOCK, then=ahead_of(actor.coop_id, actor.maker, day, "material"))
    rows = rows.annotate(**makes, ahead=Case(low, output_field=JSONField()))
    found = _first("alerted", rows.order_by("-opened_at", "-id"), more)
    return [
        Alerted(one, told(one.kind, one.facts).subject, _stands(one, day), _made_as(one))
        for one in found
    ]


def _stands(alert: Any, day: date) -> Standing | None:
    """Where the maker stands by now with what is low: an alert keeps what was so when it opened."""
    if not alert.ahead:
        return None
    return Standing.told(alert.ahead, Decimal(alert.facts.get("daily_use", 0)), day)


def _made_as(alert: Alert) -> str:
    made = ((name, getattr(alert, name)) for name in ("product", "formula"))
    return next((f"{name}:{id}" for name, id in made if id), "")


def _claims(actor: Actor, now: datetime) -> "Sequence[Claim] | QuerySet[Claim]":
    if not actor.may(Verb.TRANSFER):
        return ()
    rows = claims_of(actor, now=now, incoming=True, state=Claim.State.OPEN)
    return rows.select_related("share__lot__material", "maker").order_by("id")


def _deviating(batch: OuterRef) -> "QuerySet[Weighing]":
    """What was weighed into a batch against a rule or outside its formula, and stands."""
    outside = ~Q(deviation="") | Q(line=None, quantity__gt=0)
    return standing(Weighing.objects.filter(outside, batch_id=batch))


def _expiring(actor: Actor, day: date) -> "QuerySet[Any]":
    """What is in store of lots that may not be used for longer than thirty days more; whether each
    is to be tested `again` before it goes off. The first of either, so that none hides another."""
    soon = _with_ends(_in_store(actor)).filter(ends__lte=day + SOON)
    turn = Window(RowNumber(), "again", order_by=["ends", "lot_id"])
    first = soon.annotate(turn=turn).filter(turn__lte=MOST_IN_ALL).values("lot_id")
    rows = _with_ends(_in_store(actor).filter(lot_id__in=first))
    return with_uses(rows.order_by("ends", "lot_id"))


def _with_ends(rows: "QuerySet[Holding]") -> "QuerySet[Any]":
    rows = rows.annotate(use_by=use_by_of())
    rows = rows.annotate(ends=Least("lot__expires_on", "lot__retest_on", "use_by"))
    is_off = (When(lot__expires_on=F("ends"), then=False), When(use_by=F("ends"), then=False))
    return rows.annotate(again=Case(*is_off, default=Value(True)))


def _in_store(actor: Actor) -> "QuerySet[Holding]":
    return Holding.objects.select_related("lot__material").filter(
        coop_id=actor.coop_id, maker_id=actor.maker, kind=Account.Kind.STORE, any_left=True
    )


def _waiting(actor: Actor) -> "QuerySet[Any]":
    """What is in store of lots that nobody has released yet, or that lie where they should not."""
    own = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker)
    made = Making.objects.filter(coop_id=OuterRef("coop_id"), lot_id=OuterRef("lot_id"))
    filled = Filling.objects.filter(coop_id=OuterRef("coop_id"), lot_id=OuterRef("lot_id"))
    against = made.filter(Exists(_deviating(OuterRef("batch_id"))))
    return (
        own.select_related("lot__material", "place")
        # What they are is asked of the few that are shown, and not of all that wait.
        .filter(lot_id__in=_first_waiting(own))
        .annotate(out=out_of_place())
        .annotate(made_in=Subquery(made.values("batch_id")[:1]))
        .annotate(deviates=Exists(against) | Exists(filled.exclude(deviation="")))
        .order_by("since", "lot_id")
    )


def _first_waiting(own: "QuerySet[Custody]") -> "QuerySet[Any]":
    """The lots of the first of each kind: many of one kind hide nothing of another."""
    waits = ExpressionWrapper(Q(status=Status.QUARANTINE), BooleanField())
    rows = own.filter(some_left()).annotate(out=out_of_place(), waits=waits)
    turn = Window(RowNumber(), ["out", "waits"], order_by=["since", "lot_id"])
    rows = rows.filter(Q(waits=True) | Q(out=True)).annotate(turn=turn)
    return rows.filter(turn__lte=MOST + 1).values("lot_id")
