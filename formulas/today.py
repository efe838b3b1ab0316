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
from ledger.models import (
    Account,
    Alert,
    Custody,
    Holding,
    RecallAnswer,
    RecallNotice,
    Shortfall,
    Status,
    Transfer,
)
from ledger.recall_notices import notices_of
from ledger.roles import Verb
from ledger.transferring import Offered, offered, transfers_of

SOON: Final = timedelta(days=30)
MOST: Final = 8


@dataclass(frozen=True, slots=True)
class Short:
    """A planned batch, and what it lacks, in the order of the materials' names."""

    batch: Batch
    lacks: Sequence[Shortfall]


@dataclass(frozen=True, slots=True)
class Today:
    """All of it, the most urgent first in each list.

    A holding of `expiring` has its lot and the day it `ends`; `undecided` are lots that nobody has
    released yet and of which there is something in store.
    """

    day: date
    short: Sequence[Short]
    ready: Sequence[Batch]
    low: Sequence[Alert]
    expiring: Sequence[Holding]
    undecided: Sequence[Custody]
    offers: Sequence[Offered]
    notices: Sequence[RecallNotice]


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
    return Today(
        day=day,
        short=[
            Short(batch, lacks[batch.account_id]) for batch in planned if batch.account_id in lacks
        ],
        ready=[batch for batch in planned if batch.account_id not in lacks],
        low=list(alerts(actor, open=True, kind="low_stock").order_by("-opened_at")[:MOST]),
        expiring=list(_expiring(actor, day)[:MOST]),
        undecided=list(_undecided(actor)[:MOST]),
        offers=offered(offers[:MOST]),
        notices=list(_unanswered(actor)[:MOST]),
    )


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
