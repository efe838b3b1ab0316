"""A drawing in layers, after Sugiyama, Tagawa and Toda (1981): columns, slots, order and heights.

What follows stands in a later column than what it follows. An edge that passes a column has a slot
of its own in it, as high as its band, so that no band lies behind what it has nothing to do with.
Each column is ordered so that few edges cross: by the mean place of what each item is tied to,
there and back, and by exchanging neighbours. The same edges are always drawn alike.
"""

from bisect import bisect_right, insort
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

# Two nodes by their numbers, the second made of the first.
Edge = tuple[int, int]
SWEEPS: Final = 6
EXCHANGES: Final = 4
SETTLINGS: Final = 6
# Means of places are reckoned so finely, in whole numbers.
FINE: Final = 1000


@dataclass(frozen=True, slots=True)
class Layers:
    """The items of each column from above: nodes by their numbers, and slots with numbers beyond.

    `chains` are the items through which each edge goes, its two nodes with them.
    """

    columns: Sequence[Sequence[int]]
    chains: Sequence[Sequence[int]]


def layered(nodes: int, edges: Sequence[Edge]) -> Layers:
    """Nodes 0, 1, 2 … and the edges between them, without a circle, as ordered columns."""
    levels = levels_of(nodes, edges)
    columns: list[list[int]] = [[] for _ in range(max(levels, default=-1) + 1)]
    for node, level in enumerate(levels):
        columns[level].append(node)
    chains, item = [], nodes
    for start, end in edges:
        chain = [start]
        for level in range(levels[start] + 1, levels[end]):
            columns[level].append(item)
            chain.append(item)
            item += 1
        chains.append([*chain, end])
    return Layers(_ordered(columns, chains), chains)


def levels_of(nodes: int, edges: Sequence[Edge]) -> list[int]:
    """The column of each node: how many steps lie before it, by the longest way.

    What nothing went into stands just before the first that it went into, so that a lid lies
    beside its jars and not at the far end.
    """
    inputs: list[list[int]] = [[] for _ in range(nodes)]
    for start, end in edges:
        inputs[end].append(start)
    found: dict[int, int] = {}

    def level(node: int) -> int:
        if node not in found:
            found[node] = max((level(one) for one in inputs[node]), default=-1) + 1
        return found[node]

    levels = [level(node) for node in range(nodes)]
    first: dict[int, int] = {}
    for start, end in edges:
        first[start] = min(first.get(start, levels[end]), levels[end])
    return [
        first[node] - 1 if not inputs[node] and node in first else levels[node]
        for node in range(nodes)
    ]


# What each item is tied to in the column before it, and in the one after it.
_Links = tuple[Mapping[int, list[int]], Mapping[int, list[int]]]


def _links(chains: Sequence[Sequence[int]]) -> _Links:
    before, after = defaultdict(list), defaultdict(list)
    for chain in chains:
        for one, other in pairwise(chain):
            after[one].append(other)
            before[other].append(one)
    return before, after


def _ordered(columns: list[list[int]], chains: Sequence[Sequence[int]]) -> list[list[int]]:
    """The columns in the best order that was met."""
    links = before, after = _links(chains)
    best, fewest = columns, _crossings(columns, links)
    for _ in range(SWEEPS):
        columns = [list(column) for column in columns]
        for number in range(1, len(columns)):
            _sort(columns[number], columns[number - 1], before)
        for number in range(len(columns) - 2, -1, -1):
            _sort(columns[number], columns[number + 1], after)
        for _ in range(EXCHANGES):
            _exchange(columns, links)
        crossed = _crossings(columns, links)
        if crossed < fewest:
            best, fewest = columns, crossed
    return best


def _sort(column: list[int], beside: Sequence[int], links: Mapping[int, Sequence[int]]) -> None:
    """By the mean place of what each is tied to there; what is tied to nothing stays."""
    there = {item: place for place, item in enumerate(beside)}
    means = {}
    for place, item in enumerate(column):
        tied = [there[one] for one in links[item]] if item in links else []
        means[item] = FINE * sum(tied) // len(tied) if tied else FINE * place
    column.sort(key=means.__getitem__)


def _exchange(columns: Sequence[list[int]], links: _Links) -> None:
    """Exchange two that stand one above the other where fewer edges cross for it."""
    for number, column in enumerate(columns):
        sides = [
            ({item: place for place, item in enumerate(columns[there])}, tied)
            for there, tied in ((number - 1, links[0]), (number + 1, links[1]))
            if 0 <= there < len(columns)
        ]
        for place in range(len(column) - 1):
            upper, lower = column[place], column[place + 1]
            gain = 0
            for there, tied in sides:
                high = [there[one] for one in tied.get(upper, ())]
                low = [there[one] for one in tied.get(lower, ())]
                gain += sum((one > other) - (one < other) for one in high for other in low)
            if gain > 0:
                column[place], column[place + 1] = lower, upper


def _crossings(columns: Sequence[Sequence[int]], links: _Links) -> int:
    """How often two edges cross, both between the same two columns."""
    crossed = 0
    for column, following in pairwise(columns):
        there = {item: place for place, item in enumerate(following)}
        seen: list[int] = []
        for item in column:
            ends = sorted(there[one] for one in links[1].get(item, ()))
            crossed += sum(len(seen) - bisect_right(seen, end) for end in ends)
            for end in ends:
                insort(seen, end)
    return crossed


def tops_of(layers: Layers, height: Callable[[int], int], apart: Callable[[int], int]) -> list[int]:
    """How far down each item begins; it is so high, and leaves so much free beneath it.

    There and back, each column goes as near to the middle of what its items are tied to as their
    order allows: with the least squares of what is lacking.
    """
    columns, (before, after) = layers.columns, _links(layers.chains)
    tops: dict[int, int] = {}
    for column in columns:
        down = 0
        for item in column:
            tops[item] = down
            down += height(item) + apart(item)
    forth = [(number, number - 1) for number in range(1, len(columns))]
    back = [(number, number + 1) for number in range(len(columns) - 2, -1, -1)]
    for number, beside in [*forth, *back] * SETTLINGS:
        links = before if beside < number else after
        wanted, offsets, down = [], [], 0
        for item in columns[number]:
            tied = [2 * tops[one] + height(one) for one in links.get(item, ())]
            middle = sum(tied) // len(tied) if tied else 2 * tops[item] + height(item)
            wanted.append((middle - height(item)) // 2 - down)
            offsets.append(down)
            down += height(item) + apart(item)
        for item, top, offset in zip(columns[number], _rising(wanted), offsets, strict=True):
            tops[item] = top + offset
    highest = min(tops.values(), default=0)
    return [tops[item] - highest for item in range(len(tops))]


def _rising(wanted: Sequence[int]) -> list[int]:
    """The nearest figures none of which is below the one before: what is, is pooled with it."""
    pools: list[tuple[int, int]] = []
    for one in wanted:
        whole, count = one, 1
        while pools and pools[-1][0] * count > whole * pools[-1][1]:
            whole, count = whole + pools[-1][0], count + pools[-1][1]
            pools.pop()
        pools.append((whole, count))
    return [whole // count for whole, count in pools for _ in range(count)]
