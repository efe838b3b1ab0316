"""The nucleolus of a cost game: the split at which the unhappiest groups are best off.

A group of makers is a number whose bits are its members. What a group pays above the cost that it
would have by itself is its excess. Of all splits the nucleolus makes the largest excess least,
then the second largest, and so on (Schmeidler (1969), The nucleolus of a characteristic function
game, SIAM Journal on Applied Mathematics 17). It is in the core whenever the core is not empty.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from ledger.errors import Invalid
from ledger.exact_programs import Row, minimise


@dataclass(frozen=True, slots=True)
class Nucleolus:
    """Exact shares, and the least that the largest excess of any group can be."""

    shares: list[Fraction]
    least_excess: Fraction


def nucleolus(makers: int, costs: Mapping[int, int]) -> Nucleolus:
    """The nucleolus over the groups in `costs`, among shares between nothing and the cost alone.

    `costs` has every maker alone, all together, and as many groups between as are to be heeded;
    whole numbers, so cents. Linear programs one after the other, each settling for good what the
    groups pay that are at the largest excess in *every* best solution, and only those: groups that
    happen to be there in the one solution found are not settled (Guajardo and Jörnsten (2015),
    Common mistakes in computing the nucleolus, from memory). Each program settles at least one
    group that was free, so there are at most as many programs as makers.

    Raises Invalid for a cost below zero, and where all together cost more than each alone.
    """
    whole = (1 << makers) - 1
    alone = [costs[1 << maker] for maker in range(makers)]
    if min(costs.values()) < 0:
        raise Invalid("A cost game has no cost below zero.")
    if costs[whole] > sum(alone):
        raise Invalid("Together this costs more than each alone; there is nothing to share.")
    if len(costs) == makers + (makers > 1):
        return _equally(alone, costs[whole])
    settled = _Settled(makers)
    settled.add(whole, Fraction(costs[whole]))
    free = [group for group in costs if group not in (0, whole)]
    least_excess = None
    shares = [Fraction(costs[whole])]
    while free:
        shares, excess, tight = _next_level(alone, costs, settled, free)
        least_excess = excess if least_excess is None else least_excess
        for group in tight:
            settled.add(group, costs[group] + excess)
        free = [group for group in free if not settled.follows(group)]
    return Nucleolus(shares, least_excess or Fraction(0))


def _equally(alone: list[int], cost: int) -> Nucleolus:
    """Where each alone and all are heeded, all save as much, but nobody more than all it pays."""
    left, saved = Fraction(sum(alone) - cost), Fraction(0)
    for place, most in enumerate(sorted(alone)):
        saved = left / (len(alone) - place)
        if saved <= most:
            break
        left -= most
    shares = [max(Fraction(0), one - saved) for one in alone]
    return Nucleolus(shares, -min(saved, Fraction(min(alone))) if len(alone) > 1 else Fraction(0))


def _next_level(
    alone: list[int], costs: Mapping[int, int], settled: "_Settled", free: list[int]
) -> tuple[list[Fraction], Fraction, list[int]]:
    """Shares at which the largest excess of the free groups is least, it, and who must have it."""
    makers = len(alone)
    rows = [Row((*_members(group, makers), 0), paid, paid) for group, paid in settled.pays.items()]
    fixed = len(rows)
    for maker, cost in enumerate(alone):
        rows.append(Row((*_members(1 << maker, makers), 0), cost, 0))
    first = len(rows)
    rows += [Row((*_members(group, makers), -1), costs[group]) for group in free]
    bounds = [fixed + maker for maker in range(makers) if maker not in settled.echelon]
    best = minimise([0] * makers + [1], rows, [*range(fixed), *bounds, first])
    tight = [free[place - first] for place in best.weights if place >= first]
    return best.unknowns[:-1], best.unknowns[-1], tight


def _members(group: int, makers: int) -> tuple[int, ...]:
    return tuple(group >> maker & 1 for maker in range(makers))


@dataclass(slots=True)
class _Settled:
    """What some independent groups pay, and which others follow from them by adding and taking."""

    makers: int
    pays: dict[int, Fraction] = field(default_factory=dict)
    # Reduced rows by the maker that each begins with: one there, zero in all the other rows.
    echelon: dict[int, list[Fraction]] = field(default_factory=dict)

    def add(self, group: int, paid: Fraction) -> None:
        left = self._left(group)
        lead = next((maker for maker, one in enumerate(left) if one), None)
        if lead is None:
            return
        self.pays[group] = paid
        row = [one / left[lead] for one in left]
        for maker, other in self.echelon.items():
            if factor := other[lead]:
                self.echelon[maker] = _less(other, factor, row)
        self.echelon[lead] = row

    def follows(self, group: int) -> bool:
        return not any(self._left(group))

    def _left(self, group: int) -> list[Fraction]:
        left = [Fraction(one) for one in _members(group, self.makers)]
        for maker, row in self.echelon.items():
            if left[maker]:
                left = _less(left, left[maker], row)
        return left


def _less(left: Iterable[Fraction], factor: Fraction, row: Iterable[Fraction]) -> list[Fraction]:
    return [a - factor * b for a, b in zip(left, row, strict=True)]
