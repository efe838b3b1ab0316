"""The worker closes a round that is due, reckons it, and writes down what came of it.

Nothing is kept open while it reckons. Both steps are safe to repeat: a round is closed once, and
what was reckoned is written once, with the mark that the work is done.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from typing import Any, Final
from uuid import UUID

from django.db import connection, transaction

from ledger import outbox
from ledger.access import Actor, day_of, set_walls
from ledger.ids import new_id
from ledger.models import (
    Coop,
    Material,
    OrderRound,
    RoundOrder,
    RoundOrderLine,
    RoundOutcome,
    RoundOwnAlone,
    RoundShare,
    RoundShareLine,
)
from ledger.money import minor_unit, round_to_step
from ledger.offer_reading import OfferOn, offers_on
from ledger.order_bills import SupplierOrder
from ledger.outbox import Work
from ledger.progress import Progress
from ledger.round_market import Market
from ledger.round_offers import market
from ledger.round_pledges import Pledge, Reckoned
from ledger.round_reckoning import reckon, within_budget
from ledger.rounds import close, close_round, round_for

CLOSE: Final = "close_round"
# For all plans of a round; with the split and what is written it is reckoned within a minute. That
# is well within the time of a task, which may have been at work for a while before.
SECONDS: Final = Decimal(50)
_FINEST: Final = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class _Asked:
    """A closed round, its pledges by the ids of their rows, and what can be bought."""

    round: OrderRound
    pledges: Mapping[Pledge, UUID]
    market: Market


@outbox.does(CLOSE)
def close_and_reckon(work: Work, now: datetime) -> None:
    """Close the round by the clock, if nobody has; order for it, split, and write it all down."""
    with _of_the_coop(work):
        asked = _ask(work.coop_id, work.subject, now)
    if asked is None:
        with outbox.inside(work):
            outbox.mark_done(work, note="reckoned already")
        return
    progress = Progress(asked.round.id)
    # That may take most of the minute that the heart of a worker lasts.
    found = _reckon(asked, progress.counting("plans"))
    with _of_the_coop(work):
        _write(asked, found, now)
        set_walls(work.coop_id, work.maker_id)
        outbox.mark_done(work)
    progress.forget()


def close_and_reckon_at_once(actor: Actor, *, round: UUID | str, now: datetime) -> None:
    """The same by whoever acts for the co-op, in the open transaction: it stays open meanwhile.

    For a round of few pledges that nobody else is waiting for. The worker finds its work done.
    Raises NotFound, Forbidden, and Conflict for a round that is closed.
    """
    found = close_round(actor, round=round, now=now)
    asked = _ask(actor.coop_id, found.id, now)
    if asked is not None:
        _write(asked, _reckon(asked), now)


@contextmanager
def _of_the_coop(work: Work) -> Iterator[None]:
    """One durable transaction of whoever acts for the co-op."""
    with transaction.atomic(durable=True):
        set_walls(work.coop_id, None)
        yield


def _ask(coop_id: UUID, round_id: UUID, now: datetime) -> _Asked | None:
    """Close the round if nobody has; None where all is reckoned."""
    coop = Coop.objects.get(id=coop_id)
    close(round_id, now, person=None)
    opener = OrderRound.objects.values_list("person_id", flat=True).get(id=round_id)
    actor = Actor(opener, coop.id, None, "coordinator", coop.currency, coop.time_zone)
    round = round_for(actor, round_id)
    if round.reckoned_at is not None:  # type: ignore[attr-defined]
        return None
    with connection.cursor() as cursor:
        cursor.execute("select * from ledger_round_pledges(%s)", [round.id])
        rows = cursor.fetchall()
    materials = Material.objects.in_bulk({material for _, _, material, *_ in rows})
    pledges = {
        Pledge(maker, material, quantity, materials[material].counted, highest, leftover, use): id
        for id, maker, material, quantity, highest, leftover, use in rows
    }
    return _Asked(round, pledges, _market(actor, round, list(pledges), materials))


def _market(
    actor: Actor, round: OrderRound, pledges: Sequence[Pledge], materials: Mapping[UUID, Material]
) -> Market:
    """What all may buy on the day of the closing; and what some may besides, each read inside its
    own walls."""
    closed_at: datetime = round.closed_at  # type: ignore[attr-defined]
    day, coin = day_of(actor, closed_at), minor_unit(actor.currency)
    masses = {id: row.mass_each for id, row in materials.items()}
    offers = _asked_of(round, offers_on(actor, day=day, materials=[*materials], measured=False))
    owns = {}
    for maker in {pledge.maker for pledge in pledges}:
        wants = {pledge.material for pledge in pledges if pledge.maker == maker}
        own = replace(actor, maker_id=maker, role="owner")
        with _walls_of(own):
            seen = _asked_of(round, offers_on(own, day=day, materials=[*wants], measured=False))
        if seen != [one for one in offers if one.material in wants]:
            owns[maker] = market(seen, masses, coin=coin)
    return market(offers, masses, coin=coin, owns=owns)


def _asked_of(round: OrderRound, offers: Sequence[OfferOn]) -> list[OfferOn]:
    """Those of suppliers that the round does not leave out."""
    return [one for one in offers if str(one.supplier) not in round.without]


@contextmanager
def _walls_of(maker: Actor) -> Iterator[None]:
    """Inside a maker's walls for a while, in a transaction of whoever acts for the co-op."""
    set_walls(maker.coop_id, maker.maker_id)
    yield
    set_walls(maker.coop_id, None)


def _reckon(asked: _Asked, between: Callable[[], object] = lambda: None) -> Reckoned:
    pledges = list(asked.pledges)
    found = reckon(
        pledges,
        asked.market,
        asked.market.materials,
        coin=asked.market.coin,
        seconds=SECONDS,
        between=between,
    )
    return within_budget(found, pledges, asked.round.budget)


def _write(asked: _Asked, found: Reckoned, now: datetime) -> None:
    _write_outcome(asked, found, now)
    orders = found.plan.orders if found.plan else ()
    _write_orders(asked.round, orders)
    _write_shares(asked, found)
    _write_own(asked, found)


def _write_outcome(asked: _Asked, found: Reckoned, now: datetime) -> None:
    split, coin = found.split, asked.market.coin
    RoundOutcome.objects.create(
        coop_id=asked.round.coop_id,
        round=asked.round,
        reckoned_at=now,
        makers=len(split.shares) if split else 0,
        together=found.together,
        apart=found.apart,
        shared=split.together * coin if split else Decimal(0),
        least_excess=_finest(split.least_excess * Fraction(coin)) if split else Decimal(0),
        largest_excess=split.largest_excess * coin if split else Decimal(0),
        groups=split.groups if split else 0,
        proven=found.proven,
        bound=min(found.together, _finest(found.plan.bound)) if found.plan else Decimal(0),
        gap=_finest(found.gap),
        by_size=list(split.by_size) if split else [],
        over_budget=found.over_budget,
    )


def _write_orders(round: OrderRound, orders: tuple[SupplierOrder, ...]) -> None:
    with connection.cursor() as cursor:
        cursor.execute("select ledger_hold_buyer(%s)", [round.id])
        (buyer,) = cursor.fetchone()
    own = {"coop_id": round.coop_id, "maker_id": buyer}
    rows = [
        RoundOrder(
            id=new_id(),
            **own,
            round=round,
            supplier_id=UUID(str(order.supplier)),
            goods=order.goods,
            freight=order.freight,
        )
        for order in orders
    ]
    RoundOrder.objects.bulk_create(rows)
    RoundOrderLine.objects.bulk_create(
        [
            RoundOrderLine(
                **own,
                order=row,
                position=place,
                offer_id=UUID(str(line.offer.key)),
                packs=line.packs,
                quantity=line.quantity,
                price=line.price,
                amount=line.amount,
            )
            for row, order in zip(rows, orders, strict=True)
            for place, line in enumerate(order.lines)
        ]
    )


def _write_shares(asked: _Asked, found: Reckoned) -> None:
    coop, round = asked.round.coop_id, asked.round
    RoundShare.objects.bulk_create(
        [
            RoundShare(
                coop_id=coop,
                maker_id=share.maker,
                round=round,
                alone=share.alone_cost,
                amount=share.amount,
                leftover_amount=share.leftover_amount,
                alone_orders=_told(share.alone.orders if share.alone else ()),
            )
            for share in found.shares
        ]
    )
    ids = {(pledge.maker, pledge.material): id for pledge, id in asked.pledges.items()}
    lines = [
        RoundShareLine(
            coop_id=coop,
            maker_id=share.maker,
            round=round,
            pledge_id=ids[share.maker, line.pledge.material],
            material_id=line.pledge.material,
            quantity=line.quantity,
            amount=line.amount,
            leftover=line.leftover,
            leftover_amount=line.leftover_amount,
            price=_finest(line.price),
        )
        for share in found.shares
        for line in share.lines
    ]
    lines += [
        RoundShareLine(
            coop_id=coop,
            maker_id=one.pledge.maker,
            round=round,
            pledge_id=ids[one.pledge.maker, one.pledge.material],
            material_id=one.pledge.material,
            dropped=one.why.value,
            price=_finest(one.price),
        )
        for one in found.dropped
    ]
    RoundShareLine.objects.bulk_create(lines)


def _write_own(asked: _Asked, found: Reckoned) -> None:
    """What offers of one's own come to, written and read inside one's own walls."""
    round = asked.round
    for maker, plan in found.own.items():
        set_walls(round.coop_id, maker)
        cost = round_to_step(plan.cost, asked.market.coin, ROUND_CEILING)
        RoundOwnAlone.objects.create(
            coop_id=round.coop_id,
            maker_id=maker,
            round=round,
            cost=cost,
            orders=_told(plan.orders),
        )
    set_walls(round.coop_id, None)


def _told(orders: tuple[SupplierOrder, ...]) -> list[dict[str, Any]]:
    """Orders that are not placed, as they are kept beside the share that they explain."""
    return [
        {
            "supplier": str(order.supplier),
            "goods": f"{order.goods:f}",
            "freight": f"{order.freight:f}",
            "lines": [
                {
                    "offer": str(line.offer.key),
                    "material": str(line.offer.material),
                    "packs": line.packs,
                    "quantity": f"{line.quantity:f}",
                    "amount": f"{line.amount:f}",
                }
                for line in order.lines
            ],
        }
        for order in orders
    ]


def _finest(value: "Decimal | Fraction | None") -> Any:
    """As fine as amounts are kept, half-even."""
    if value is None:
        return None
    number = Fraction(value)
    exact = Decimal(number.numerator) / Decimal(number.denominator)
    return exact.quantize(_FINEST, rounding=ROUND_HALF_EVEN)
