"""How an order plan is searched for: covers first, then packs, then everything, until a moment.

The choice among covers is a small program, since each material has one cover at each supplier
instead of all their packs. What it finds lies close to the best, and the whole program needs then
mostly to prove it.
"""

import time
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Final

from ledger.covers import LONGEST_TABLE, Cover, cheapest_cover
from ledger.order_model import Model, model_of
from ledger.order_numbers import Choice, Question, Tier
from ledger.solver import Found, Program, solve

Packs = Sequence[int]
# What packs cost in steps, or None where they break a rule.
Judge = Callable[[Packs], int | None]
# A cover as a choice of one pack, and the packs that it is.
_Covering = tuple[Choice, dict[int, int]]

_SECOND: Final = 10**9
# Below so many offers the whole question is sooner answered than a start is found for it.
_FEW: Final = 40
# Up to so many, a start is found as fast by the whole question itself as by stages.
_MANY: Final = 2_000
_OF_COVERS, _OF_PACKS = Decimal("0.004"), Decimal("0.001")
_ALL_TABLES: Final = 1_500_000


@dataclass(frozen=True, slots=True)
class Outcome:
    """The best packs found, what no plan costs less than, and whether there can be none at all."""

    packs: Packs | None
    bound: int
    impossible: bool


@dataclass(slots=True)
class _Best:
    """The cheapest packs so far that break no rule."""

    judge: Judge
    packs: Packs | None = None
    cost: int | None = None

    def hear(self, packs: Packs) -> None:
        """Keep these if they are cheaper."""
        cost = self.judge(packs)
        if cost is not None and (self.cost is None or cost < self.cost):
            self.packs, self.cost = packs, cost


def search(question: Question, judge: Judge, *, until: int, within: Decimal) -> Outcome:
    """The cheapest packs, to proof, to a part `within` of the least cost, or the best found until
    that moment of the monotonic clock, in nanoseconds."""
    if not question.needs:
        return Outcome((), 0, False)
    best, bound = _Best(judge), 0
    in_packs: set[int] = set()
    if len(question.choices) <= _FEW:
        in_packs |= set(_suppliers(question))
    else:
        _start(question, best, until, within)
    while True:
        model = model_of(question, in_packs)
        start = None if best.packs is None else model.values(best.packs)
        found = _solve(model.program, until, within=within, start=start)
        if found.impossible and best.packs is None:
            return Outcome(None, 0, True)
        bound = max(bound, found.bound)
        beyond = _hear(question, best, model, found)
        near = best.cost is not None and best.cost - bound <= within * best.cost
        more = set(beyond or _suppliers(question)) - in_packs
        if near or not more or time.monotonic_ns() >= until:
            return Outcome(best.packs, bound, False)
        in_packs |= more


def _suppliers(question: Question) -> range:
    return range(len(question.agreed))


def _hear(question: Question, best: _Best, model: Model, found: Found) -> Mapping[int, int]:
    """Judge what was found, with packs for what it spends beyond the need; those amounts."""
    if found.values is None:
        return {}
    packs, beyond = model.packs(found.values), model.beyond(found.values)
    best.hear(_topped_up(question, packs, beyond))
    return beyond


def _start(question: Question, best: _Best, until: int, within: Decimal) -> None:
    """A plan to begin from: each material's cheapest cover and, where there is much to choose
    from, the best choice among covers, and packs anew of the suppliers of that choice."""
    covers = _covers(question)
    cheapest: dict[int, tuple[int, int]] = {}
    for place, (choice, _) in enumerate(covers):
        cost = (choice.tiers[0].price, place)
        cheapest[choice.material] = min(cost, cheapest.get(choice.material, cost))
    taken = _packs(question, [covers[place][1] for _, place in cheapest.values()])
    best.hear(_topped_up(question, taken, _lacking(question, taken)))
    if len(question.choices) > _MANY:
        _start_by_stages(question, best, covers, until, within)


def _start_by_stages(
    question: Question, best: _Best, covers: Sequence[_Covering], until: int, within: Decimal
) -> None:
    began = time.monotonic_ns()
    third = (until - began) // 3
    choices = tuple(choice for choice, _ in covers)
    of_covers = replace(question, needs=(1,) * len(question.needs), choices=choices)
    small = model_of(of_covers, _suppliers(question))
    found = _solve(small.program, began + third, within=max(_OF_COVERS, within / 2))
    if found.values is None:
        return
    chosen = zip(small.packs(found.values), covers, strict=True)
    best.hear(_packs(question, [packs for taken, (_, packs) in chosen if taken]))
    model = model_of(question, ())
    lowest, highest = list(model.program.lowest), list(model.program.highest)
    for column, of_cover in zip(model.of_suppliers(), small.of_suppliers(), strict=True):
        lowest[column] = highest[column] = found.values[of_cover]
    narrow = replace(model.program, lowest=lowest, highest=highest)
    start = None if best.packs is None else model.values(best.packs)
    found = _solve(narrow, began + 2 * third, within=max(_OF_PACKS, within / 2), start=start)
    _hear(question, best, model, found)


def _packs(question: Question, covers: Sequence[Mapping[int, int]]) -> list[int]:
    found = [0] * len(question.choices)
    for cover in covers:
        for place, count in cover.items():
            found[place] += count
    return found


def _lacking(question: Question, packs: Packs) -> dict[int, int]:
    """What each supplier that is ordered from lacks of its least amount."""
    goods: dict[int, int] = defaultdict(int)
    for choice, count in zip(question.choices, packs, strict=True):
        if count:
            goods[choice.supplier] += choice.price(count)
    short = {s: question.agreed[s].minimum - amount for s, amount in goods.items()}
    return {supplier: amount for supplier, amount in short.items() if amount > 0}


def _covers(question: Question) -> list[_Covering]:
    """The cheapest cover of each material at each supplier as a choice of one pack, and its packs.

    Where offers keep differently long, the shortest holds for all of the cover.
    """
    pairs: dict[tuple[int, int], list[int]] = defaultdict(list)
    for place, choice in enumerate(question.choices):
        pairs[choice.material, choice.supplier].append(place)
    longest = min(LONGEST_TABLE, 100 + _ALL_TABLES // max(1, len(pairs)))
    found = []
    for (material, supplier), places in pairs.items():
        choices = [question.choices[place] for place in places]
        usable = [choice.usable for choice in choices if choice.usable is not None]
        within = min(usable) if usable else None
        cover = cheapest_cover(question.needs[material], choices, within, longest)
        if cover is not None:
            packs = {places[which]: count for which, count in cover.packs.items()}
            found.append((_as_choice(cover, choices, material, supplier), packs))
    return found


def _as_choice(cover: Cover, choices: Sequence[Choice], material: int, supplier: int) -> Choice:
    mass = sum((choices[w].by_mass * count for w, count in cover.packs.items()), Fraction(0))
    return Choice(material, supplier, 1, (Tier(1, 1, cover.cost),), mass)


def _topped_up(question: Question, packs: Packs, beyond: Mapping[int, int]) -> list[int]:
    """The packs, and of each supplier's cheapest as many more as its amount asks for."""
    found = list(packs)
    for supplier, amount in beyond.items():
        ordered = [
            (choice.tiers[-1].price, place)
            for place, choice in enumerate(question.choices)
            if choice.supplier == supplier and found[place] and choice.tiers[-1].price
        ]
        if ordered:
            price, place = min(ordered)
            found[place] += -(-amount // price)
    return found


def _solve(
    program: Program, until: int, *, within: Decimal, start: Sequence[int] | None = None
) -> Found:
    left = Fraction(until - time.monotonic_ns(), _SECOND)
    return solve(program, seconds=left, within=within, start=start)
