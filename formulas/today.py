"""What a maker is to look at today: short batches, low stock, dates that come near, and whatever
waits for a decision. Each list is cut after a few rows; the pages behind it show the rest."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import Least

from formulas.access import batches_of
from formulas.models import Batch
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
    Lot,
    OrderRound,
    RecallAnswer,
    RecallNotice,
    RoundClosing,
    RoundPledge,
    Shortfall,
    Status,
    Transfer,
)
from ledger.recall_notices import notices_of
from ledger.roles import Verb
from ledger.round_buyers import waiting_for_buyer
from ledger.rounds import rounds_of
from ledger.transferring import Offered, offered, transfers_of

SOON: Final = timedelta(days=30)
MOST: Final = 8
# What has a list of its own here is told there, with the act that resolves it.
ALERTED: Final = (AlertKind.LOW_STOCK, AlertKind.PRICE_JUMP, AlertKind.DEPOSIT_UNCLAIMED)


@dataclass(frozen=True, slots=True)
class Short:
    """A planned batch, and what it lacks, in the order of the materials' names."""

    batch: Batch
    lacks: Sequence[Shortfall]


@dataclass(frozen=True, slots=True)
class Alerted:
    """An open alert that nobody has acknowledged or put off, in a line."""

    alert: Alert
    words: str


@dataclass(frozen=True, slots=True)
class Today:
    """All of it, the most urgent first in each list.

    A holding of `expiring` has its lot and the day it `ends`; `retests` are those whose retest
    comes first. `undecided` are lots that nobody has released yet and of which there is something
    in store. `claims` are those on one's own shares; a round has `pledged`, whether one has. In
    those of `asked` the maker is to buy for all, and has not answered; what came of those of
    `to_hand_out` it has bought, and not handed out.
    """

    day: date
    short: Sequence[Short]
    ready: Sequence[Batch]
    alerted: Sequence[Alerted]
    expiring: Sequence[Holding]
    retests: Sequence[Holding]
    undecided: Sequence[Custody]
    offers: Sequence[Offered]
    notices: Sequence[RecallNotice]
    claims: Sequence[Claim]
    rounds: Sequence[OrderRound]
    asked: Sequence[OrderRound]
    to_hand_out: Sequence[OrderRound]

    @property
    def nothing(self) -> bool:
        """Whether none of it waits."""
        lists = (self.short, self.ready, self.alerted, self.expiring, self.retests)
        others = (self.undecided, self.offers, self.notices, self.claims)
        together = (self.rounds, self.asked, self.to_hand_out)
        return not any((*lists, *others, *together))


def today(actor: Actor, *, now: datetime) -> Today:
    """What waits for the maker, in a fixed number of queries. Raises Forbidden."""
    actor.must(Verb.READ)
    day = day_of(actor, now)
    planned = list(
        batches_of(actor)
        .filter(state=Batch.State.PLANNED)
        .order_by("planned_for", "id")[: 2 * MOST]
    )
    lacks = _lacks(actor, planned)
    offers = transfers_of(actor, incoming=True, state=Transfer.State.OPEN).order_by("id")
    ending = list(_expiring(actor, day)[: 2 * MOST])
    buying = waiting_for_buyer(actor, most=MOST)
    return Today(
        day=day,
        short=[
            Short(batch, lacks[batch.account_id]) for batch in planned if batch.account_id in lacks
        ],
        ready=[batch for batch in planned if batch.account_id not in lacks],
        alerted=_alerted(actor, now),
        expiring=[one for one in ending if not _retest_first(one.lot)][:MOST],
        retests=[one for one in ending if _retest_first(one.lot)][:MOST],
        undecided=list(_undecided(actor)[:MOST]),
        offers=offered(offers[:MOST]),
        notices=list(_unanswered(actor)[:MOST]),
        claims=_claims(actor, now),
        rounds=_rounds(actor, now),
        asked=buying.asked,
        to_hand_out=buying.to_hand_out,
    )


def _alerted(actor: Actor, now: datetime) -> list[Alerted]:
    rows = alerts(actor, open=True).filter(
        Q(snoozed_until=None) | Q(snoozed_until__lte=now), kind__in=ALERTED, acknowledged_at=None
    )
    found = rows.order_by("-opened_at", "-id")[:MOST]
    return [Alerted(one, told(one.kind, one.facts).subject) for one in found]


def _claims(actor: Actor, now: datetime) -> list[Claim]:
    if not actor.may(Verb.TRANSFER):
        return []
    rows = claims_of(actor, now=now, incoming=True, state=Claim.State.OPEN)
    return list(rows.select_related("share__lot__material", "maker").order_by("id")[:MOST])


def _rounds(actor: Actor, now: datetime) -> list[OrderRound]:
    """Rounds in which one may still pledge, those that close first before the others."""
    if not actor.may(Verb.PLEDGE):
        return []
    own = RoundPledge.objects.filter(maker_id=actor.maker, round_id=OuterRef("id"))
    closed = RoundClosing.objects.filter(coop_id=actor.coop_id, round_id=OuterRef("id"))
    rows = rounds_of(actor).filter(~Exists(closed), closes_at__gt=now)
    return list(rows.annotate(pledged=Exists(own)).order_by("closes_at", "id")[:MOST])


def _lacks(actor: Actor, planned: Sequence[Batch]) -> dict[UUID, list[Shortfall]]:
    """What the batches lack, by the account of each; a batch that lacks nothing is not there."""
    rows = Shortfall.objects.select_related("material").filter(
        maker_id=actor.maker, account_id__in=[batch.account_id for batch in planned], quantity__gt=0
    )
    found: dict[UUID, list[Shortfall]] = {}
    for row in rows.order_by("material__name"):
        found.setdefault(row.account_id, []).append(row)
    return found


def _expiring(actor: Actor, day: date) -> "QuerySet[Holding]":
    """What is in store of lots that may not be used for longer than thirty days more."""
    ends = Least("lot__expires_on", "lot__retest_on")
    soon = Q(lot__expires_on__lte=day + SOON) | Q(lot__retest_on__lte=day + SOON)
    return _in_store(actor).filter(soon).annotate(ends=ends).order_by("ends", "lot_id")


def _retest_first(lot: Lot) -> bool:
    """Whether it is to be tested again before it expires."""
    if lot.retest_on is None:
        return False
    return bool(lot.expires_on is None or lot.retest_on < lot.expires_on)


def _in_store(actor: Actor) -> "QuerySet[Holding]":
    return Holding.objects.select_related("lot__material").filter(
        coop_id=actor.coop_id, maker_id=actor.maker, kind=Account.Kind.STORE, any_left=True
    )


def _undecided(actor: Actor) -> "QuerySet[Custody]":
    held = Holding.objects.filter(
        coop_id=OuterRef("coop_id"),
        maker_id=OuterRef("maker_id"),
        material_id=OuterRef("material_id"),
        lot_id=OuterRef("lot_id"),
        kind=Account.Kind.STORE,
        any_left=True,
    )
    rows = Custody.objects.select_related("lot__material").filter(
        coop_id=actor.coop_id, maker_id=actor.maker, status=Status.QUARANTINE
    )
    return rows.filter(Exists(held)).order_by("since", "lot_id")


def _unanswered(actor: Actor) -> "QuerySet[RecallNotice]":
    answered = RecallAnswer.objects.filter(notice_id=OuterRef("id"), maker_id=F("notice__to_maker"))
    return notices_of(actor, incoming=True).filter(~Exists(answered)).order_by("id")
