"""How an order plan is searched for: a choice among covers first, then everything, until a moment.

Where there is much to choose from, what the choice among covers finds lies close to the best, and
so does its bound. The whole program then needs mostly to prove it, or is not asked at all.
"""

import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from ledger.cover_choice import CoverChoice
from ledger.covers import LONGEST_TABLE, cheapest_cover
from ledger.order_model import Model, model_of
from ledger.order_numbers import Question
from ledger.solver import Found, solve

Packs = Sequence[int]
# What packs cost in steps, or None where they break a rule.
Judge = Callable[[Packs], int | None]

_SECOND: Final = 10**9
# Below so many offers the whole question is sooner answered than a start is found for it.
_FEW: Final = 40
# Up to so many, a start is found as fast by the whole question itself as by stages.
_MANY: Final = 2_000
_NEAR: Final = Decimal("0.001")
_ALL_TABLES: Final = 1_500_000


@dataclass(frozen=True, slots=True)
class _Covering:
    """What covers a material, from one supplier, and what these packs cost."""

    material: int
    cost: int
    packs: Mapping[int, int]


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

    def hear(self, packs: Packs) -> int | None:
        """Keep these if they are cheaper; what the best cost now."""
        cost = self.judge(packs)
        if cost is not None and (self.cost is None or cost < self.cost):
            self.packs, self.cost = packs, cost
        return self.cost

    def near(self, bound: int, within: Decimal) -> bool:
        """Whether they cost no more than a part of them above the bound."""
        return self.cost is not None and self.cost - bound <= within * self.cost


def search(
    question: Question,
    judge: Judge,
    *,
    until: int,
    within: Decimal,
    first: Packs | None = None,
) -> Outcome:
    """The cheapest packs, to proof, to a part `within` of the least cost, or the best found until
    that moment of the monotonic clock, in nanoseconds. `first` are packs to begin from."""
    if not question.needs:
        return Outcome((), 0, False)
    best, bound = _Best(judge), 0
    if first is not None:
        best.hear(first)
    suppliers = set(range(len(question.agreed)))
    in_packs: set[int] = set()
    if len(question.choices) <= _FEW:
        in_packs = suppliers
    else:
        bound = _start(question, best, until, within)
    while not best.near(bound, within):
        model = model_of(question, in_packs)
        start = None if best.packs is None else model.values(best.packs)
        left = Fraction(until - time.monotonic_ns(), _SECOND)
        found = solve(model.program, seconds=left, within=within, start=start)
        if found.impossible and best.packs is None:
            return Outcome(None, 0, True)
        bound = max(bound, found.bound)
        beyond = _hear(question, best, model, found)
        more = set(beyond or suppliers) - in_packs
        if not more or time.monotonic_ns() >= until:
            break
        in_packs = in_packs | more
    return Outcome(best.packs, bound, False)


def _hear(question: Question, best: _Best, model: Model, found: Found) -> Mapping[int, int]:
    """Judge what was found, with packs for what it spends beyond the need; those amounts."""
    if found.values is None:
        return {}
    packs, beyond = model.packs(found.values), model.beyond(found.values)
    best.hear(_topped_up(question, packs, beyond))
    return beyond


def _start(question: Question, best: _Best, until: int, within: Decimal) -> int:
    """A plan to begin from: each material's cheapest cover and, where there is much to choose
    from, what a choice among covers comes to. Returns what no plan costs less than."""
    covers = _covers(question)
    cheapest: dict[int, _Covering] = {}
    for cover in sorted(covers, key=lambda one: one.cost):
        cheapest.setdefault(cover.material, cover)

    def hear(packs: Packs) -> int | None:
        return best.hear(_topped_up(question, packs, _lacking(question, packs)))

    hear(_packs(question, cheapest.values()))
    if len(question.choices) <= _MANY:
        return 0
    choice_of_covers = CoverChoice(question)
    for cover in covers:
        choice_of_covers.add(cover.material, cover.packs)
    began = time.monotonic_ns()
    # Only the whole program proves to the last cent; short of that the choice is sooner there.
    share = (until - began) // 3 if within < _NEAR else 4 * (until - began) // 5
    choice_of_covers.search(hear, began + share, max(within, _NEAR))
    return choice_of_covers.bound


def _packs(question: Question, covers: Iterable[_Covering]) -> list[int]:
    found = [0] * len(question.choices)
    for cover in covers:
        for place, count in cover.packs.items():
            found[place] = count
    return found


def _lacking(question: Question, packs: Packs) -> dict[int, int]:
    """What each supplier that is ordered from lacks of its least amount."""
    goods: dict[int, int] = defaultdict(int)
    for choice, count in zip(question.choices, packs, strict=True):
        if count:
            goods[choice.supplier] += choice.price(count)
    return {s: max(0, question.agreed[s].minimum - amount) for s, amount in goods.items()}


def _covers(question: Question) -> list[_Covering]:
    """The cheapest cover of each material at each supplier.

    Where offers keep differently long, the shortest holds for all of the cover.
    """
    pairs: dict[tuple[int, int], list[int]] = defaultdict(list)
    for place, choice in enumerate(question.choices):
        pairs[choice.material, choice.supplier].append(place)
    longest = min(LONGEST_TABLE, 100 + _ALL_TABLES // len(pairs))
    found = []
    for (material, _), places in pairs.items():
        choices = [question.choices[place] for place in places]
        usable = [choice.usable for choice in choices if choice.usable is not None]
        within = min(usable) if usable else None
        cover = cheapest_cover(question.needs[material], choices, within, longest)
        if cover is not None:
            packs = {places[which]: count for which, count in cover.packs.items()}
            found.append(_Covering(material, cover.cost, packs))
    return found


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
