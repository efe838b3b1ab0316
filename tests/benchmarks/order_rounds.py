"""A whole round reckoned: what all order, what each would alone, and a split of the difference.

There is no floor: nobody else says what a fair split costs. What is held to is the time in which a
round must be worked out, with the plans, their bounds and the split.
"""

import random
import time
from dataclasses import replace
from decimal import Decimal
from uuid import UUID

from ledger.round_market import Market
from ledger.round_pledges import Pledge
from ledger.round_reckoning import reckon
from tests.benchmarks.bench import Options
from tests.benchmarks.ordering import MAKERS, Question, question
from tests.benchmarks.report import Row, say
from tests.running import Running

PLANS_S, TARGET_S = 50, 60
CENT = Decimal("0.01")


def measure(server: Running, options: Options) -> list[Row]:
    """A round in which all take part, and one that some pledges leave for their highest price."""
    say(f"  a round of {MAKERS} makers x 100 materials …")
    asked = question(100, 5, 1)
    return [
        _row("all take part", asked, None),
        _row("a sixth of the pledges at a highest price", asked, Decimal("1.05")),
    ]


def _row(how: str, asked: Question, part: Decimal | None) -> Row:
    market, pledges = _round(asked, part)
    start = time.perf_counter()
    found = reckon(pledges, market, market.materials, coin=CENT, seconds=Decimal(PLANS_S))
    took = time.perf_counter() - start
    assert found.split is not None
    assert found.plan is not None
    assert all(share.amount <= share.alone_cost for share in found.shares)
    assert found.together <= found.apart
    gap = 100 * (found.plan.cost - found.plan.bound) / found.plan.cost
    told = sum(found.split.by_size)
    return Row(
        f"a round of {MAKERS} makers x 100 materials reckoned, {how}",
        f"{took:.0f} s; for all a gap of {gap:.2f} %, of any {100 * found.gap:.2f} %;"
        f" {told} groups; {len(found.dropped)} pledges left",
        target=f"<= {TARGET_S} s",
        met=took <= TARGET_S,
    )


def _round(asked: Question, part: Decimal | None) -> tuple[Market, list[Pledge]]:
    """What 25 makers need, each of a third of the materials; with `part`, some would pay at most
    that part of what the cheapest pack costs."""
    r = random.Random(7)
    cheapest: dict[int, Decimal] = {}
    for offer in asked.offers:
        a_kilogram = 1000 * offer.prices[0].price / offer.size
        cheapest[offer.material] = min(cheapest.get(offer.material, a_kilogram), a_kilogram)
    pledges = []
    for need in asked.needs:
        makers = [maker for maker in range(MAKERS) if r.random() < 0.35] or [0]
        weights = [r.lognormvariate(-0.9, 0.9) for _ in makers]
        for maker, weight in zip(makers, weights, strict=True):
            grams = max(10, round(int(need.quantity) * weight / sum(weights)))
            dear = part is not None and r.random() < 1 / 6
            highest = cheapest[need.material] * part if part is not None and dear else None
            pledges.append(
                Pledge(UUID(int=maker), _id(need.material), Decimal(grams), False, highest)
            )
    offers = [
        replace(offer, material=_id(offer.material), supplier=_id(offer.supplier))
        for offer in asked.offers
    ]
    return Market(offers, {_id(one): terms for one, terms in asked.terms.items()}, CENT), pledges


def _id(number: int) -> UUID:
    return UUID(int=number + 1)
