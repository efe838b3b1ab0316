"""The cheapest packs of one supplier for one material, by dynamic programming in whole numbers.

With several packs of which any number may be bought this is the covering knapsack (Martello and
Toth, Knapsack Problems, ch. 3, from memory): offer after offer, the cheapest way to hold a quantity
is one without the offer, or with a pack more of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from ledger.order_numbers import Choice, Tier

LONGEST_TABLE: Final = 20_000
_NONE: Final = 1 << 80


@dataclass(frozen=True, slots=True)
class Cover:
    """What it costs, and how many packs of which of the choices it takes."""

    cost: int
    packs: dict[int, int]


def cheapest_cover(
    need: int, choices: Sequence[Choice], within: int | None = None, longest: int = LONGEST_TABLE
) -> Cover | None:
    """The cheapest packs that hold `need` together, and no more than `within`; None if none do.

    It is the cheapest where no price rises with the quantity, and where the table of all
    quantities is no longer than `longest`; a longer one is reckoned in a coarser measure, which
    gives a cover that may be somewhat dearer.
    """
    top = need if within is None else within
    coarse = 1 + top * sum(len(choice.tiers) for choice in choices) // longest
    sizes = [choice.size // coarse for choice in choices]
    least, most = -(-need // coarse), top // coarse if within is not None else -(-need // coarse)
    costs = [0] + [_NONE] * most
    counts = []
    for choice, size in zip(choices, sizes, strict=True):
        costs, counted = _with_offer(costs, choice.tiers, size, within is None)
        counts.append(counted)
    place = min(range(least, most + 1), key=costs.__getitem__, default=None)
    if place is None or costs[place] >= _NONE:
        return None
    packs = {}
    for which in reversed(range(len(choices))):
        if count := counts[which][place]:
            packs[which] = count
            place = max(0, place - count * sizes[which])
    held = sum(choices[which].size * count for which, count in packs.items())
    if within is not None and held > within:
        return None
    return Cover(sum(choices[which].price(count) for which, count in packs.items()), packs)


def _with_offer(
    before: list[int], tiers: Sequence[Tier], size: int, beyond: bool
) -> tuple[list[int], list[int]]:
    """The least costs with an offer more, and how many of its packs each takes.

    `beyond` says that more than a quantity may be held as well.
    """
    after, counts = before.copy(), [0] * len(before)
    for tier in tiers:
        first, price = tier.first * size, tier.first * tier.price
        row, packs = [_NONE] * len(before), [0] * len(before)
        for q in range(1 if beyond else first, len(before)):
            row[q], packs[q] = before[q - first if q > first else 0] + price, tier.first
            more = q - size if q > size else 0
            if row[more] + tier.price < row[q]:
                row[q], packs[q] = row[more] + tier.price, packs[more] + 1
            if row[q] < after[q]:
                after[q], counts[q] = row[q], packs[q]
    return after, counts


@dataclass(frozen=True, slots=True)
class Packs:
    """Packs of one choice: of `size`, each at the price of a tier from its first pack on."""

    choice: int
    size: int
    tiers: Sequence[tuple[int, int]]


class Mix:
    """The cheapest packs of all suppliers together that hold a need, whatever of each.

    Of each seller it takes what it costs to have anything of it at all, by what its prices are
    multiplied, and its packs. No plan of these packs costs less than `cost`: a tier's price is
    taken for any number from its first pack on.
    """

    def __init__(self, need: int, sellers: Sequence[tuple[int, int, Sequence[Packs]]]) -> None:
        self._need = need
        self._steps = []
        best = [0] + [_NONE] * need
        for fee, part, offered in sellers:
            row, rows = [cost + fee for cost in best], []
            for packs in offered:
                rows.append((packs, part, row))
                row = _with_packs(row, packs, part)
            self._steps.append((best, rows, row))
            best = _cheaper(best, row)
        self.cost = best[need]

    def packs(self) -> dict[int, int]:
        """How many packs of which choice."""
        found, q = {}, self._need
        for before, rows, last in reversed(self._steps):
            if before[q] <= last[q]:
                continue
            after = last
            for packs, part, row in reversed(rows):
                if count := _taken(row, after[q], q, packs, part):
                    found[packs.choice] = count
                    q = max(0, q - count * packs.size)
                after = row
        return found


def _with_packs(row: list[int], packs: Packs, part: int) -> list[int]:
    """The least costs of each quantity, where packs may be added to what `row` holds."""
    best, size = row, packs.size
    for first, price in packs.tiers:
        cost, take = price * part, first * size
        begun = first * cost
        more = [row[0] + begun]
        for q in range(1, len(row)):
            one_more = more[q - size if q > size else 0] + cost
            first_ones = row[q - take if q > take else 0] + begun
            more.append(one_more if one_more < first_ones else first_ones)
        best = _cheaper(best, more)
    return best


def _cheaper(some: Sequence[int], others: Sequence[int]) -> list[int]:
    """The lesser of each two; many of them, so that no function is called for each."""
    return [one if one < other else other for one, other in zip(some, others, strict=True)]


def _taken(row: list[int], cost: int, q: int, packs: Packs, part: int) -> int:
    """How many packs lead from `row` to this cost of holding `q`."""
    if row[q] == cost:
        return 0
    count = min(first for first, _ in packs.tiers)
    while row[max(0, q - count * packs.size)] + _price(packs, count) * part != cost:
        count += 1
    return count


def _price(packs: Packs, count: int) -> int:
    return min(count * price for first, price in packs.tiers if first <= count)
