"""An order round, reckoned: one order for all, split fairly, within everybody's highest price.

The cost game (`ledger.fair_split`) is of what each group of makers would pay for the cheapest
orders that cover its own pledges, at the same offers (`ledger.round_game`). What is left of packs
is sold at the cost of the goods to those who asked for it, and the whole cost is less by that
(`ledger.round_leftovers`); no group is taken to sell its own leftover, so nobody's limit moves.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.fair_split import MOST_GROUPS
from ledger.money import split_exactly
from ledger.round_game import Game, Planner, Played
from ledger.round_leftovers import Left
from ledger.round_pledges import (
    Dropped,
    MakerShare,
    Plan,
    Pledge,
    Reckoned,
    ShareLine,
    WhyDropped,
    goods_of,
)

NOTHING: Final = Decimal(0)
# While pledges may leave, few groups are asked, in so small a part of the time that is left.
_AT_FIRST: Final = 3
# In the last part of the time all leave at once who would pay too much.
_LAST_PART: Final = 4


def reckon(
    pledges: Sequence[Pledge],
    planner: Planner,
    offered: Collection[UUID],
    *,
    coin: Decimal,
    seconds: Decimal,
    between: Callable[[], object] = lambda: None,
) -> Reckoned:
    """Order for all pledges together, without those that nobody covers or that would pay too much.

    `offered` are the materials that `planner` can get. As long as a pledge would pay more than its
    highest price, the one that is furthest above it leaves (of many, half of them) and everything
    is reckoned anew, since the others' prices change with it; and so do the pledges of a maker that
    would do better by offers of its own whatever the split. While pledges leave, few groups of
    makers are asked; at the end all, or as many as `seconds` leave time for. `between` is called
    before each plan.

    All of it takes `seconds`, and after that what a short plan takes for each maker whose pledges
    have changed. Raises PlanNotFound where that was too short for a maker's plan alone.
    """
    kept = [pledge for pledge in pledges if pledge.material in offered]
    dropped = [Dropped(pledge, WhyDropped.NOT_OFFERED) for pledge in pledges if pledge not in kept]
    game = Game(planner, coin, seconds, between)
    own: dict[UUID, Plan] = {}
    while makers := {pledge.maker for pledge in kept if pledge.quantity}:
        leaving: list[Dropped] = []
        for most, part in ((2 * len(makers) + 1, _AT_FIRST), (MOST_GROUPS, 1)):
            played = game.play(kept, most, game.left() / part)
            found = _reckoned(game, kept, played)
            leaving = _leaving(found, in_haste=game.left() < seconds / _LAST_PART)
            if leaving:
                break
        own = {one: plan for one, plan in own.items() if one not in makers} | dict(played.own)
        if not leaving:
            return replace(found, dropped=tuple(dropped), own=own)
        dropped += leaving
        gone = {one.pledge for one in leaving}
        kept = [replace(one, quantity=None) if one in gone else one for one in kept]
        kept = [one for one in kept if one.quantity or one.takes_leftover]
    return Reckoned(None, None, (), tuple(dropped), proven=True, own=own)


def within_budget(found: Reckoned, pledges: Sequence[Pledge], budget: Decimal | None) -> Reckoned:
    """What was reckoned; or nothing for anybody, where the orders for all cost more than this."""
    if budget is None or found.together <= budget:
        return found
    gone = {one.pledge for one in found.dropped}
    dropped = [Dropped(one, WhyDropped.OVER_BUDGET) for one in pledges if one not in gone]
    none = Reckoned(None, None, (), (*found.dropped, *dropped), proven=found.proven, own=found.own)
    return replace(none, over_budget=found.together)


def _reckoned(game: Game, kept: Sequence[Pledge], played: Played) -> Reckoned:
    shares = []
    for maker in dict.fromkeys(pledge.maker for pledge in kept):
        alone, own = played.alone.get(maker), played.own.get(maker)
        amount = played.split.shares.get(maker, 0) * game.coin
        pledges = [pledge for pledge in kept if pledge.maker == maker]
        lines = _lines(pledges, amount, goods_of(played.whole.orders), played.left, game.coin)
        share = MakerShare(
            maker=maker,
            alone=alone,
            alone_cost=game.paid(alone) if alone else NOTHING,
            amount=amount,
            lines=lines,
            own_cost=game.paid(own) if own else None,
        )
        if lines:
            shares.append(share)
    return Reckoned(
        plan=played.whole,
        split=played.split,
        shares=tuple(shares),
        dropped=(),
        proven=all(plan.proven for plan in played.asked),
        together=played.together,
        gap=max((_gap(plan) for plan in played.asked), default=NOTHING),
    )


def _gap(plan: Plan) -> Decimal:
    return (plan.cost - plan.bound) / plan.cost if plan.cost else NOTHING


def _lines(
    own: Sequence[Pledge],
    amount: Decimal,
    goods: Mapping[UUID, tuple[Decimal, Decimal]],
    left: Mapping[Pledge, Left],
    coin: Decimal,
) -> tuple[ShareLine, ...]:
    quantities = [pledge.quantity or NOTHING for pledge in own]
    weights = []
    for pledge, quantity in zip(own, quantities, strict=True):
        bought, cost = goods.get(pledge.material, (NOTHING, NOTHING))
        weights.append(quantity * cost / bought if quantity else NOTHING)
    # Goods that cost nothing carry their freight by quantity.
    parts = split_exactly(amount, weights if any(weights) else quantities, step=coin)
    lines = []
    for pledge, quantity, part in zip(own, quantities, parts, strict=True):
        beyond = left.get(pledge, Left())
        if quantity or beyond.quantity:
            lines.append(ShareLine(pledge, quantity, part, beyond.quantity, beyond.amount))
    return tuple(lines)


def _leaving(found: Reckoned, *, in_haste: bool) -> list[Dropped]:
    """Of the pledges above their highest price, those that are furthest above it as a part of it,
    and of makers above what they would pay by their own offers, all: of many half, but all if it
    must be done `in_haste`."""
    over: list[tuple[Decimal, list[Dropped]]] = []
    for share in found.shares:
        asked = [line for line in share.lines if line.price is not None]
        if share.own_cost is not None and share.amount > share.own_cost:
            far = share.amount / share.own_cost if share.own_cost else Decimal("Infinity")
            over.append((far, [_too_dear(line) for line in asked]))
            continue
        for line in asked:
            highest = line.pledge.highest_price
            if highest is not None and line.price is not None and line.price > highest:
                over.append((line.price / highest, [_too_dear(line)]))
    over.sort(key=lambda one: one[0], reverse=True)
    first = over if in_haste else over[: max(1, len(over) // 2)]
    return [one for _, leaving in first for one in leaving]


def _too_dear(line: ShareLine) -> Dropped:
    return Dropped(line.pledge, WhyDropped.TOO_DEAR, line.price)
