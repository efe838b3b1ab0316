"""Clearing: the fewest payments after which nobody owes anybody anything.

Balances are in the co-op's currency: above zero is owed to the maker, below zero it owes. They sum
to zero. The fewest payments are the makers with a balance less the most groups into which they
fall so that each group sums to zero by itself (Verhoeff (2004), Settling multiple debts
efficiently, from memory).
"""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Generic, TypeVar

from ledger.errors import Invalid

Maker = TypeVar("Maker", bound=Hashable)
# The exact search looks at every group of makers: twice as many for each one more.
MOST_FOR_PROOF: Final = 15


@dataclass(frozen=True, slots=True)
class Payment(Generic[Maker]):
    """`payer` pays `payee`."""

    payer: Maker
    payee: Maker
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Clearing(Generic[Maker]):
    """The payments; no way needs fewer than `at_least`, which is their number where proven."""

    payments: list[Payment[Maker]]
    at_least: int

    @property
    def is_proven(self) -> bool:
        return len(self.payments) == self.at_least


def clear(balances: Mapping[Maker, Decimal]) -> Clearing[Maker]:
    """The fewest payments that bring all balances to zero.

    Proven for up to 15 makers with a balance. Beyond, pairs that cancel are paid first and the
    rest by the largest debtor to the largest creditor; that is at most one payment fewer than
    makers, and at least half of them is always needed. Raises Invalid unless the balances are
    finite and sum to zero.
    """
    if not all(one.is_finite() for one in balances.values()) or sum(balances.values(), Decimal(0)):
        raise Invalid("Balances must sum to zero: what one is owed, others owe.")
    open_ones = {maker: one for maker, one in balances.items() if one}
    if len(open_ones) <= MOST_FOR_PROOF:
        groups = _most_groups(open_ones)
        payments = [payment for group in groups for payment in _pay(group)]
        return Clearing(payments, len(open_ones) - len(groups))
    pairs, rest = _pairs(open_ones)
    payments = [payment for group in [*pairs, rest] for payment in _pay(group)]
    return Clearing(payments, -(-len(open_ones) // 2))


def _most_groups(balances: Mapping[Maker, Decimal]) -> list[dict[Maker, Decimal]]:
    """Split into as many groups that sum to zero as there can be.

    Makers are taken up one at a time; whenever those taken so far sum to zero, a group closes. The
    best order for each set of makers comes from the best of the sets with one maker fewer.
    """
    makers, amounts = list(balances), list(balances.values())
    size = 1 << len(makers)
    sums, closed, last = [Decimal(0)] * size, [0] * size, [0] * size
    for chosen in range(1, size):
        low = (chosen & -chosen).bit_length() - 1
        sums[chosen] = sums[chosen & (chosen - 1)] + amounts[low]
        options = (place for place in range(len(makers)) if chosen >> place & 1)
        last[chosen] = max(options, key=lambda place: closed[chosen ^ (1 << place)])
        closed[chosen] = closed[chosen ^ (1 << last[chosen])] + (not sums[chosen])
    groups: list[dict[Maker, Decimal]] = []
    chosen = size - 1
    while chosen:
        if not sums[chosen]:
            groups.append({})
        groups[-1][makers[last[chosen]]] = amounts[last[chosen]]
        chosen ^= 1 << last[chosen]
    return groups


def _pairs(
    balances: Mapping[Maker, Decimal],
) -> tuple[list[dict[Maker, Decimal]], dict[Maker, Decimal]]:
    """Pairs that cancel each other, and whoever is left over."""
    waiting: dict[Decimal, list[Maker]] = {}
    pairs = []
    for maker, amount in balances.items():
        if waiting.get(-amount):
            pairs.append({waiting[-amount].pop(): -amount, maker: amount})
        else:
            waiting.setdefault(amount, []).append(maker)
    left = {maker for makers in waiting.values() for maker in makers}
    return pairs, {maker: amount for maker, amount in balances.items() if maker in left}


def _pay(group: Mapping[Maker, Decimal]) -> list[Payment[Maker]]:
    """At most one payment fewer than there are makers: each pays or is paid off in turn."""
    owing = sorted(((-one, maker) for maker, one in group.items() if one < 0), key=_largest_first)
    owed = sorted(((one, maker) for maker, one in group.items() if one > 0), key=_largest_first)
    payments = []
    # Both end together, since a group sums to zero.
    while owing:
        (debt, payer), (claim, payee) = owing.pop(0), owed.pop(0)
        amount = min(debt, claim)
        payments.append(Payment(payer, payee, amount))
        if debt > amount:
            owing.insert(0, (debt - amount, payer))
        if claim > amount:
            owed.insert(0, (claim - amount, payee))
    return payments


def _largest_first(one: tuple[Decimal, Maker]) -> Decimal:
    return -one[0]
