"""A choice among covers: for each material packs that hold its need, of one supplier or several.

The covers are found as they are wanted (column generation: Gilmore and Gomory 1961, from memory).
A relaxed choice among those known says what it is worth to have anything of a supplier, and what
its goods are worth towards a least or a free amount; where a cover is cheaper by these worths than
what its material costs now, it is added. The same worths bound every plan from below (Lagrangian
relaxation: Geoffrion 1974, from memory), and that bound is reckoned here, in whole numbers. Whether
a supplier is ordered from, and whether its freight is free, is then settled by trying either.
"""

import time
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from heapq import heappop, heappush
from typing import Final

from ledger.covers import Mix, Packs
from ledger.order_numbers import Question
from ledger.solver import WORTH, Program, Relaxation, Relaxed

# Told of packs, it says what the cheapest plan so far costs, if there is one.
Hear = Callable[[Sequence[int]], int | None]
# Columns that are settled, and how.
_Settled = Mapping[int, int]

_LONGEST: Final = 400
_AT_FIRST: Final = 4
_NEW_COVERS: Final = 10
# What is so near to a whole number is one.
_WHOLE: Final = WORTH // 1000


@dataclass(frozen=True, slots=True)
class _Cover:
    """Packs of choices that hold the need of a material, and what they cost at each supplier."""

    material: int
    packs: Mapping[int, int]
    goods: Mapping[int, int]


@dataclass(slots=True)
class _Rows:
    """Which row says what."""

    covered: list[int]
    of_supplier: dict[tuple[int, int], int] = field(default_factory=dict)
    least: dict[int, int] = field(default_factory=dict)
    free: dict[int, int] = field(default_factory=dict)


@dataclass(order=True, slots=True)
class _Node:
    """What is settled of suppliers, and what no plan that keeps to it costs less than."""

    bound: int
    number: int
    settled: _Settled = field(compare=False)


class CoverChoice:
    """The covers known so far, and what no plan costs less than.

    Its program has columns for each supplier being ordered from, for free freight, for amounts
    spent beyond the covers, and then for the covers.
    """

    def __init__(self, question: Question) -> None:
        self.question = question
        self.bound = 0
        self._covers: list[_Cover] = []
        self._known: set[tuple[int, tuple[tuple[int, int], ...]]] = set()
        self._offered = _offered(question)
        self._related = 0

    def add(self, material: int, packs: Mapping[int, int]) -> bool:
        """Know these packs as a cover of their material, if they are one and it is new."""
        key = material, tuple(sorted(packs.items()))
        if key in self._known or not self._holds(material, packs):
            return False
        goods: dict[int, int] = defaultdict(int)
        for place, count in packs.items():
            choice = self.question.choices[place]
            goods[choice.supplier] += choice.price(count)
        self._known.add(key)
        self._covers.append(_Cover(material, dict(packs), dict(goods)))
        return True

    def search(self, hear: Hear, until: int, within: Decimal) -> None:
        """Tell `hear` of plans and raise the bound, until the best is `within` a part of its cost
        from it, or nothing is left to be settled, or until a moment of the monotonic clock."""
        waiting, settled, made = [_Node(0, 0, {})], None, 0
        while waiting and time.monotonic_ns() < until:
            node = heappop(waiting)
            best, column = self._look(node, hear, 1 if made else _AT_FIRST)
            if column is None:
                settled = node.bound if settled is None else min(settled, node.bound)
            else:
                for value in (0, 1):
                    made += 1
                    heappush(waiting, _Node(node.bound, made, {**node.settled, column: value}))
            lowest = waiting[0].bound if waiting else node.bound
            self.bound = max(self.bound, lowest if settled is None else min(lowest, settled))
            near = best is not None and best - self.bound <= within * best
            if near or (settled is not None and settled <= lowest):
                return

    def _look(self, node: _Node, hear: Hear, rounds: int) -> tuple[int | None, int | None]:
        """Raise a node's bound; what the best plan costs, and which column to settle next."""
        best: int | None = None
        part: dict[int, int] = {}
        for _ in range(rounds):
            found = self._relaxed(node.settled)
            if found is None:
                return best, None
            best = hear(self._rounded(found.values))
            bound, helped = self._priced(found.worths, node.settled)
            node.bound = max(node.bound, bound)
            part = {
                column: min(found.values[column], WORTH - found.values[column])
                for column in range(2 * len(self.question.agreed))
                if column not in node.settled
            }
            if not helped:
                break
        column = max(part, key=lambda one: part[one], default=None)
        return best, None if column is None or part[column] <= _WHOLE else column

    def _relaxed(self, settled: _Settled) -> Relaxed | None:
        if not self._related or len(self._covers) > self._related + _NEW_COVERS:
            program, self._rows = self._program()
            self._relaxation, self._related = Relaxation(program), len(self._covers)
        bounds = {
            column: (settled.get(column, 0), settled.get(column, 1))
            for column in range(2 * len(self.question.agreed))
        }
        return self._relaxation.ask(bounds)

    def _rounded(self, values: Sequence[int]) -> list[int]:
        """The packs of each material's cover that is taken most."""
        most: dict[int, tuple[int, int]] = {}
        for place, value in enumerate(values[3 * len(self.question.agreed) :]):
            material = self._covers[place].material
            most[material] = max(most.get(material, (0, 0)), (value, place))
        packs = [0] * len(self.question.choices)
        for _, place in most.values():
            for choice, count in self._covers[place].packs.items():
                packs[choice] = count
        return packs

    def _holds(self, material: int, packs: Mapping[int, int]) -> bool:
        choices = self.question.choices
        held = sum(choices[place].size * count for place, count in packs.items())
        usable = [choices[place].usable for place in packs]
        return held >= self.question.needs[material] and all(
            most is None or held <= most for most in usable
        )

    def _program(self) -> tuple[Program, _Rows]:
        program, agreed = Program(), self.question.agreed
        ordered = [program.column(asked.flat, 1) for asked in agreed]
        free = [program.column(-asked.flat, int(asked.free_from is not None)) for asked in agreed]
        beyond = [program.column(1, asked.worth_reaching, whole=False) for asked in agreed]
        covered: dict[int, dict[int, int]] = defaultdict(dict)
        linked: dict[tuple[int, int], dict[int, int]] = defaultdict(dict)
        goods = [{column: 1} for column in beyond]
        for cover in self._covers:
            column = program.column(sum(cover.goods.values()), 1)
            covered[cover.material][column] = 1
            for supplier, amount in cover.goods.items():
                linked[cover.material, supplier][column] = -1
                goods[supplier][column] = amount
        rows = _Rows([program.row(covered[m], 1) for m in range(len(self.question.needs))])
        for pair, terms in linked.items():
            rows.of_supplier[pair] = program.row({ordered[pair[1]]: 1} | terms, 0)
        for supplier, asked in enumerate(agreed):
            program.row({ordered[supplier]: 1, free[supplier]: -1}, 0)
            if asked.minimum:
                least = goods[supplier] | {ordered[supplier]: -asked.minimum}
                rows.least[supplier] = program.row(least, 0)
            if asked.free_from is not None:
                enough = goods[supplier] | {free[supplier]: -asked.free_from}
                rows.free[supplier] = program.row(enough, 0)
        return program, rows

    def _priced(self, worths: Sequence[int], settled: _Settled) -> tuple[int, bool]:
        """What these worths say that no plan costs less than, and whether a new cover helps."""
        rows, suppliers = self._rows, range(len(self.question.agreed))
        least = [min(worths[rows.least[s]], WORTH) if s in rows.least else 0 for s in suppliers]
        free = [
            min(worths[rows.free[s]], WORTH - least[s]) if s in rows.free else 0 for s in suppliers
        ]
        fees = {pair: worths[row] for pair, row in rows.of_supplier.items()}
        part = [WORTH - least[s] - free[s] for s in suppliers]
        bound, helped = self._of_suppliers(least, free, fees, settled), False
        for material, (need, sellers) in enumerate(self._offered):
            priced = [
                (fees.get((material, s), 0), part[s], packs)
                for s, packs in sellers
                if settled.get(s) != 0
            ]
            mix = Mix(need, priced)
            bound += mix.cost
            if mix.cost < worths[rows.covered[material]]:
                helped |= self.add(material, mix.packs())
        return -(-bound // WORTH), helped

    def _of_suppliers(
        self,
        least: Sequence[int],
        free: Sequence[int],
        fees: Mapping[tuple[int, int], int],
        settled: _Settled,
    ) -> int:
        """What ordering at all, and freight that is free, add to the bound."""
        agreed = self.question.agreed
        ordered = [asked.flat * WORTH + least[s] * asked.minimum for s, asked in enumerate(agreed)]
        for (_, supplier), fee in fees.items():
            ordered[supplier] -= fee
        found = 0
        for s, asked in enumerate(agreed):
            spared = free[s] * (asked.free_from or 0) - asked.flat * WORTH
            is_free = settled.get(len(agreed) + s, None if asked.free_from is not None else 0)
            ways = [ordered[s]] if is_free != 1 else []
            ways += [ordered[s] + spared] if is_free != 0 else []
            if settled.get(s) == 0:
                ways = []
            if settled.get(s) != 1 and is_free != 1:
                ways.append(0)
            found += min(ways, default=0)
        return found


def _offered(question: Question) -> list[tuple[int, list[tuple[int, list[Packs]]]]]:
    """Each material's need, and its packs by supplier, in a measure that is coarse where the need
    is many packs: needs are then rounded down and packs up, so that the bound holds."""
    found: list[dict[int, list[Packs]]] = [defaultdict(list) for _ in question.needs]
    coarse = [1 + need // _LONGEST for need in question.needs]
    for place, choice in enumerate(question.choices):
        size = -(-choice.size // coarse[choice.material])
        tiers = [(tier.first, tier.price) for tier in choice.tiers]
        found[choice.material][choice.supplier].append(Packs(place, size, tiers))
    return [
        (need // by, list(sellers.items()))
        for need, by, sellers in zip(question.needs, coarse, found, strict=True)
    ]
