"""A common cost split so that nobody pays more than alone, and no group more than by itself.

Amounts are whole numbers of the currency's smallest coin. What a group would pay by itself is
asked of a function, which is asked once for each group. The split is the nucleolus
(`ledger.nucleolus`), in whole cents (`ledger.fair_cents`).
"""

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Generic, TypeVar

from ledger.errors import Invalid
from ledger.fair_cents import in_cents, largest_excess
from ledger.nucleolus import Nucleolus, nucleolus

Maker = TypeVar("Maker", bound=Hashable)
# All groups of eight makers; of more makers so many groups are looked at.
MOST_GROUPS: Final = 255


@dataclass(frozen=True, slots=True)
class FairSplit(Generic[Maker]):
    """What each pays, beside what it would pay alone; cents, but for the exact figures.

    - `least_excess`: the least that can be had for the largest excess of any group looked at, an
      excess being what a group pays above its own cost. Above zero the core is empty: however the
      cost is split, some group would do better by itself, and this is by how little it can be.
    - `largest_excess`: the same of groups of several after rounding to cents.
    - `groups`, `all_groups`: how many groups were looked at, and how many there are; `by_size` says
      of how many makers each was, how many of one first.
    """

    shares: dict[Maker, int]
    exact: dict[Maker, Fraction]
    alone: dict[Maker, int]
    together: int
    least_excess: Fraction
    largest_excess: int
    groups: int
    all_groups: int
    by_size: tuple[int, ...] = ()

    @property
    def core_is_empty(self) -> bool:
        """Proven by the groups looked at, be they all or some."""
        return self.least_excess > 0

    @property
    def is_in_core(self) -> bool:
        """Whether no group looked at pays more than by itself, in cents."""
        return self.largest_excess <= 0

    @property
    def heeds_all(self) -> bool:
        return self.groups == self.all_groups


def split_fairly(
    makers: Sequence[Maker],
    cost: Callable[[frozenset[Maker]], int | None],
    *,
    most_groups: int = MOST_GROUPS,
) -> FairSplit[Maker]:
    """The nucleolus of the cost game, in cents that sum to the whole cost exactly.

    No share is above the maker's cost alone, whatever the game is. Where there are more groups
    than `most_groups`, those asked are each maker alone, all, all but one, and then those that the
    split so far treats worst: the makers who save least, so many of them at a time, until none of
    these pays more than its own cost or so many have been asked. The split is then that of the
    groups asked, and a group that was not asked may pay more than by itself; nor was one of which
    `cost` says None, as it may of any but all makers and each alone.

    Raises Invalid for no makers or one twice, a cost below zero, and where all together cost more
    than each alone.
    """
    if not makers or len(set(makers)) != len(makers):
        raise Invalid("A cost is split among one maker or more, each named once.")
    asked = _Asked(makers, cost)
    if asked.all_groups <= most_groups:
        asked.ask(*sorted(range(1, asked.all_groups + 1), key=asked.first))
        found = nucleolus(len(makers), asked.costs)
    else:
        found = _of_some_groups(asked, most_groups)
    shares = in_cents(found.shares, asked.costs)
    return FairSplit(
        shares=dict(zip(makers, shares, strict=True)),
        exact=dict(zip(makers, found.shares, strict=True)),
        alone=dict(zip(makers, asked.alone(), strict=True)),
        together=asked.costs[asked.all_groups],
        least_excess=found.least_excess,
        largest_excess=largest_excess(shares, asked.costs),
        groups=len(asked.costs),
        all_groups=asked.all_groups,
        by_size=asked.by_size(),
    )


class _Asked(Generic[Maker]):
    """The costs of the groups asked so far; the bits of a group are its members."""

    def __init__(
        self, makers: Sequence[Maker], cost: Callable[[frozenset[Maker]], int | None]
    ) -> None:
        self.makers, self.cost = makers, cost
        self.all_groups = (1 << len(makers)) - 1
        self.costs: dict[int, int] = {}

    def ask(self, *groups: int) -> None:
        for group in groups:
            members = (one for at, one in enumerate(self.makers) if group >> at & 1)
            cost = self.cost(frozenset(members))
            if cost is not None:
                self.costs[group] = cost

    def first(self, group: int) -> tuple[bool, int]:
        """The order in which all groups are asked: of one first, then all and the largest."""
        size = group.bit_count()
        return size > 1, -size

    def by_size(self) -> tuple[int, ...]:
        sizes = [group.bit_count() for group in self.costs]
        return tuple(sizes.count(size) for size in range(1, len(self.makers) + 1))

    def alone(self) -> list[int]:
        return [self.costs[1 << at] for at in range(len(self.makers))]


def _of_some_groups(asked: _Asked[Maker], most_groups: int) -> Nucleolus:
    size = len(asked.makers)
    singles = [1 << at for at in range(size)]
    asked.ask(asked.all_groups, *singles, *(asked.all_groups ^ one for one in singles))
    found = nucleolus(size, asked.costs)
    while len(asked.costs) < most_groups:
        worst = dict.fromkeys(_worst_off(found, asked.alone()))
        new = [one for one in worst if one not in asked.costs]
        new = new[: most_groups - len(asked.costs)]
        asked.ask(*new)
        most = max(found.least_excess, Fraction(0))
        answered = [one for one in new if one in asked.costs]
        if not any(_paid(one, found) - asked.costs[one] > most for one in answered):
            break
        found = nucleolus(size, asked.costs)
    return found


def _worst_off(found: Nucleolus, alone: list[int]) -> Iterator[int]:
    """The two who save the smallest part of their cost, the three, and so on; then by amount."""
    saved = [cost - share for cost, share in zip(alone, found.shares, strict=True)]
    parts = [one / cost if cost else Fraction(1) for one, cost in zip(saved, alone, strict=True)]
    for measure in (parts, saved):
        order = sorted(range(len(alone)), key=measure.__getitem__)
        for size in range(2, len(alone) - 1):
            yield sum(1 << at for at in order[:size])


def _paid(group: int, found: Nucleolus) -> Fraction:
    return sum((one for at, one in enumerate(found.shares) if group >> at & 1), Fraction(0))
