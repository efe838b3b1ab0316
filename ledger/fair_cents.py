"""Exact shares of a cost, as whole cents that sum to it and still wrong no group, where they can.

Every share is rounded down or up to the cent next to it. A share that is a fraction below a whole
limit is at most that limit when rounded up, so nobody comes to pay more than alone. A group of
several can: which shares go up is therefore chosen by what the groups pay.
"""

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from itertools import combinations
from math import comb, floor

# Ways of rounding that are tried one by one; beyond, they are improved step by step.
_MOST_WAYS = 2_000


def largest_excess(shares: Sequence[int], costs: Mapping[int, int]) -> int:
    """The most that a group of several, but not of all, pays above its own cost; bits are members.

    Below zero is what even the least lucky group saves. Zero where there is no such group.
    """
    whole = (1 << len(shares)) - 1
    some = (group for group in costs if group & (group - 1) and group != whole)
    return max((_paid(group, shares) - costs[group] for group in some), default=0)


def in_cents(exact: Sequence[Fraction], costs: Mapping[int, int]) -> list[int]:
    """The exact shares as whole cents with the same sum, which must be whole.

    Up go those shares with which no group pays more than its own cost, or where that cannot be the
    excess is least; among such ways the largest remainders go up, and on a tie the earlier maker.
    All ways are tried where they are few; of many, the largest remainders are taken and exchanged
    as long as that helps.
    """
    down = [floor(share) for share in exact]
    remainders = [share - whole for share, whole in zip(exact, down, strict=True)]
    loose = [maker for maker, left in enumerate(remainders) if left]
    loose.sort(key=lambda maker: -remainders[maker])
    ups = int(sum(remainders))

    def badness(chosen: Iterable[int]) -> tuple[int, Fraction]:
        over = max(0, largest_excess(_rounded(down, chosen), costs))
        return over, -sum((remainders[maker] for maker in chosen), Fraction(0))

    if comb(len(loose), ups) <= _MOST_WAYS:
        return _rounded(down, min(combinations(loose, ups), key=badness))
    chosen = tuple(loose[:ups])
    while badness(better := min(_exchanges(chosen, loose), key=badness)) < badness(chosen):
        chosen = better
    return _rounded(down, chosen)


def _exchanges(chosen: tuple[int, ...], loose: Sequence[int]) -> list[tuple[int, ...]]:
    return [
        (*(maker for maker in chosen if maker != out), coming)
        for out in chosen
        for coming in loose
        if coming not in chosen
    ]


def _rounded(down: Sequence[int], up: Iterable[int]) -> list[int]:
    shares = list(down)
    for maker in up:
        shares[maker] += 1
    return shares


def _paid(group: int, shares: Sequence[int]) -> int:
    return sum(share for maker, share in enumerate(shares) if group >> maker & 1)
