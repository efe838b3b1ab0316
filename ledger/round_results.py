"""What came of a round, as far as the actor may know it.

A maker sees its own share, beside what it would have paid alone; whoever acts for the co-op sees
all shares, to hand the goods out and to settle, but nobody's highest price and nobody's orders
alone. The buyer sees what is ordered. What all paid in all is told to a maker where three or more
took part: of two, it would tell the other's share.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from ledger.access import Actor
from ledger.models import (
    OrderRound,
    RoundOrder,
    RoundOrderLine,
    RoundOutcome,
    RoundOwnAlone,
    RoundPledge,
    RoundShare,
    RoundShareLine,
    Supplier,
)
from ledger.models.base import MakerRow
from ledger.roles import Verb
from ledger.rounds import round_for

# Fewer than so many figures do not hide one of them in their sum.
ENOUGH_TO_HIDE_IN: Final = 3
Row = TypeVar("Row", bound=MakerRow)


@dataclass(frozen=True, slots=True)
class MakerResult:
    """A maker's lines, and its share, which who has only dropped pledges has none of."""

    maker_id: UUID
    maker_name: str
    share: RoundShare | None
    lines: Sequence[RoundShareLine]


@dataclass(frozen=True, slots=True)
class Result:
    """Of a round that is not reckoned yet, `outcome` is None and nothing else is there.

    `own` is what the maker would pay alone by offers of its own, where that is less; `tells_totals`
    says whether the actor may know the sums of the outcome; `alone` has the
    suppliers of the orders that a maker would have placed alone, and `pledges` its own.
    """

    round: OrderRound
    outcome: RoundOutcome | None
    tells_totals: bool
    makers: Sequence[MakerResult]
    orders: Sequence[RoundOrder]
    alone: dict[UUID, Supplier]
    pledges: dict[UUID, RoundPledge]
    own: RoundOwnAlone | None = None


def result_of(actor: Actor, round: UUID | str | OrderRound) -> Result:
    """What came of a round. Raises NotFound, and Forbidden for who may not see costs."""
    found = round_for(actor, round)
    actor.must(Verb.RUN_ROUNDS if actor.maker_id is None else Verb.SEE_COSTS)
    outcome = RoundOutcome.objects.filter(coop_id=actor.coop_id, round=found).first()
    makers = _makers(actor, found)
    written = RoundOrder.objects.filter(round=found, maker_id=found.buying_id)
    orders = _own(actor, written).select_related("supplier")
    lines = RoundOrderLine.objects.select_related("offer__material")
    return Result(
        round=found,
        outcome=outcome,
        tells_totals=actor.maker_id is None
        or (outcome is not None and outcome.makers >= ENOUGH_TO_HIDE_IN),
        makers=makers,
        orders=list(orders.prefetch_related(Prefetch("lines", lines), "placements").order_by("id")),
        alone=Supplier.objects.in_bulk(_suppliers_alone(makers)) if actor.maker_id else {},
        pledges=_pledges(makers) if actor.maker_id else {},
        own=_own(actor, RoundOwnAlone.objects.filter(round=found)).first(),
    )


def _makers(actor: Actor, round: OrderRound) -> list[MakerResult]:
    rows = _own(actor, RoundShareLine.objects.filter(round=round))
    lines: dict[UUID, list[RoundShareLine]] = {}
    # A pledge is its maker's alone.
    joined = ("maker", "material", *(("pledge",) if actor.maker_id else ()))
    for line in rows.select_related(*joined).order_by("maker__name", "id"):
        lines.setdefault(line.maker_id, []).append(line)
    shares = {row.maker_id: row for row in _own(actor, RoundShare.objects.filter(round=round))}
    return [
        MakerResult(maker, own[0].maker.name, shares.get(maker), own)
        for maker, own in lines.items()
    ]


def _own(actor: Actor, rows: "QuerySet[Row]") -> "QuerySet[Row]":
    """The maker's rows, or all of the co-op's for whoever acts for it."""
    of_coop: QuerySet[Row] = rows.filter(coop_id=actor.coop_id)
    return of_coop if actor.maker_id is None else of_coop.filter(maker_id=actor.maker_id)


def _suppliers_alone(makers: Sequence[MakerResult]) -> set[Any]:
    return {
        UUID(order["supplier"])
        for one in makers
        if one.share is not None
        for order in one.share.alone_orders
    }


def _pledges(makers: Sequence[MakerResult]) -> dict[UUID, RoundPledge]:
    return {line.pledge_id: line.pledge for one in makers for line in one.lines}
