"""An order round, reckoned: one order for all, split fairly, within everybody's highest price.

The cost game (`ledger.fair_split`) is of what each group of makers would pay for the cheapest
orders that cover its own pledges, at the same offers. What is left of packs is sold at the cost of
the goods to those who asked for it, and the whole cost is less by that (`ledger.round_leftovers`);
no group is taken to sell its own leftover, so nobody's limit moves.
"""

import time
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from uuid import UUID

from ledger.fair_split import MOST_GROUPS, FairSplit, split_fairly
from ledger.money import round_to_step, split_exactly
from ledger.round_leftovers import Left, leftovers
from ledger.round_pledges import (
    Dropped,
    MakerShare,
    Plan,
    Pledge,
    Reckoned,
    ShareLine,
    WhyDropped,
    goods_of,
    wanted,
)

Planner = Callable[[Mapping[UUID, Decimal]], Plan]
NOTHING = Decimal(0)


def reckon(
    pledges: Sequence[Pledge],
    planner: Planner,
    offered: Collection[UUID],
    *,
    coin: Decimal,
    seconds: Decimal,
) -> Reckoned:
    """Order for all pledges together, without those that nobody covers or that would pay too much.

    `planner` gives the cheapest orders for some quantities, `offered` are the materials that it can
    get. As long as a pledge would pay more than its highest price, the one that is furthest above
    it leaves and everything is reckoned anew, since the others' prices change with it. While
    pledges leave, few groups of makers are asked; at the end all, or as many as `seconds` leave
    time for. Raises Invalid where the orders found for all cost more than those found for each
    alone, as no proven ones do.
    """
    kept = [pledge for pledge in pledges if pledge.material in offered]
    dropped = [Dropped(pledge, WhyDropped.NOT_OFFERED) for pledge in pledges if pledge not in kept]
    game = _Game(planner, coin, time.monotonic_ns() + int(seconds * 10**9))
    while wanted(kept):
        few = 2 * len(_makers(kept)) + 1
        found = game.play(kept, few)
        too_dear = _dearest(found)
        if too_dear is None:
            found = game.play(kept, game.affordable(few))
            too_dear = _dearest(found)
        if too_dear is None:
            return replace(found, dropped=tuple(dropped))
        dropped.append(too_dear)
        kept.remove(too_dear.pledge)
        if too_dear.pledge.takes_leftover:
            kept.append(replace(too_dear.pledge, quantity=None))
    return Reckoned(None, None, (), tuple(dropped), proven=True)


class _Game:
    """What each group would pay; a plan for the same quantities is asked for once."""

    def __init__(self, planner: Planner, coin: Decimal, until: int) -> None:
        self.planner, self.coin, self.until = planner, coin, until
        self.plans: dict[frozenset[tuple[UUID, Decimal]], Plan] = {}
        self.spent = 0

    def plan(self, pledges: Sequence[Pledge]) -> Plan:
        quantities = wanted(pledges)
        key = frozenset(quantities.items())
        if key not in self.plans:
            began = time.monotonic_ns()
            self.plans[key] = self.planner(quantities)
            self.spent += time.monotonic_ns() - began
        return self.plans[key]

    def affordable(self, asked: int) -> int:
        """How many groups there is time for beside those asked, at what a plan has taken so far."""
        left = max(0, self.until - time.monotonic_ns())
        return min(MOST_GROUPS, asked + left * len(self.plans) // max(1, self.spent))

    def play(self, kept: Sequence[Pledge], most_groups: int) -> Reckoned:
        makers = _makers(kept)
        whole = self.plan(kept)
        left = leftovers(kept, whole.orders, self.coin)
        sold = sum((one.amount for one in left.values()), NOTHING)
        together = round_to_step(whole.cost, self.coin, ROUND_FLOOR)
        asked = [whole]

        def cost(group: frozenset[UUID]) -> int:
            if len(group) == len(makers):
                return int((together - sold) / self.coin)
            asked.append(self.plan([pledge for pledge in kept if pledge.maker in group]))
            return int(self.paid(asked[-1]) / self.coin)

        split = split_fairly(makers, cost, most_groups=most_groups)
        shares = [
            self.share(maker, [p for p in kept if p.maker == maker], split, whole, left)
            for maker in dict.fromkeys(pledge.maker for pledge in kept)
        ]
        return Reckoned(
            plan=whole,
            split=split,
            shares=tuple(share for share in shares if share.lines),
            dropped=(),
            proven=all(plan.proven for plan in asked),
            together=together,
        )

    def paid(self, plan: Plan) -> Decimal:
        """What orders cost in whole coins. Amounts in other currencies are finer: a group's are
        rounded up and those of all down, so that apart is never less than together."""
        return round_to_step(plan.cost, self.coin, ROUND_CEILING)

    def share(
        self,
        maker: UUID,
        own: Sequence[Pledge],
        split: FairSplit[UUID],
        whole: Plan,
        left: Mapping[Pledge, Left],
    ) -> MakerShare:
        """A maker's share over its pledges, as the goods pledged cost; leftover beside it."""
        alone = self.plan(own) if wanted(own) else None
        amount = split.shares.get(maker, 0) * self.coin
        return MakerShare(
            maker=maker,
            alone=alone,
            alone_cost=self.paid(alone) if alone else NOTHING,
            amount=amount,
            lines=_lines(own, amount, goods_of(whole.orders), left, self.coin),
        )


def _makers(pledges: Sequence[Pledge]) -> list[UUID]:
    """Those who want some of the order, as they came."""
    return list(dict.fromkeys(pledge.maker for pledge in pledges if pledge.quantity))


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


def _dearest(found: Reckoned) -> Dropped | None:
    """The pledge whose price is furthest above the highest it accepts, as a part of that."""
    over = [
        (line.price / line.pledge.highest_price, line)
        for share in found.shares
        for line in share.lines
        if line.price is not None
        and line.pledge.highest_price is not None
        and not line.pledge.accepts(line.price)
    ]
    if not over:
        return None
    _, line = max(over, key=lambda one: one[0])
    return Dropped(line.pledge, WhyDropped.TOO_DEAR, line.price)
