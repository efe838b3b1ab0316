"""What a drum cost, shared among what was drawn from it. Pure.

What stays behind in the drum, its heel, is a normal loss: all of the cost is carried by what was
drawn (IAS 2, paragraph 16(a), leaves out only abnormal waste). Shares are in the smallest coin and
sum to the cost exactly, by largest remainder.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Generic, TypeVar

from ledger.costing import GRAMS_PER_KG, unit_cost
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.money import round_money, split_money

ZERO: Final = Decimal(0)
Maker = TypeVar("Maker")


@dataclass(frozen=True, slots=True)
class DrumSplit:
    """`shares` in the smallest coin, `values` to the sixth decimal, draw by draw.

    The values sum to the cost as the books have it, the shares to that cost rounded.
    `per_unit` is the cost of a kilogram that was drawn, or of a piece of what is counted.
    """

    shares: list[Decimal]
    values: list[Decimal]
    per_unit: Decimal


@dataclass(frozen=True, slots=True)
class Part(Generic[Maker]):
    """A maker's share of a drum, what it paid for it already, and what is still due to it.

    Below zero the maker pays so much.
    """

    maker: Maker
    share: Decimal
    paid: Decimal

    @property
    def receives(self) -> Decimal:
        return self.paid - self.share


def split_drum(
    cost: Decimal, drawn: Sequence[Decimal], currency: str, *, counted: bool = False
) -> DrumSplit:
    """Split what a drum cost among the quantities drawn from it, in grams or pieces.

    Raises SplitImpossible where nothing was drawn.
    """
    shares = split_money(round_money(cost, currency), drawn, currency)
    values = list(shares)
    # What the books have beyond the smallest coin goes with the largest share, which can bear it.
    values[shares.index(max(shares))] += cost - sum(shares, ZERO)
    whole = sum(drawn, ZERO)
    return DrumSplit(
        shares, values, unit_cost(cost, whole, per=Decimal(1) if counted else GRAMS_PER_KG)
    )


def settle_drum(
    holder: Maker, shares: Sequence[tuple[Maker, Decimal]], paid: Sequence[tuple[Maker, Decimal]]
) -> list[Part[Maker]]:
    """Who is still to receive or to pay how much, the holder of the drum first.

    The holder paid whatever nobody else did. What all receive and pay sums to zero. Raises Invalid
    where others paid more than the drum cost.
    """
    together: dict[Maker, Decimal] = {holder: ZERO}
    for maker, share in shares:
        together[maker] = together.get(maker, ZERO) + share
    by_others: dict[Maker, Decimal] = {}
    for maker, amount in paid:
        by_others[maker] = by_others.get(maker, ZERO) + amount
        together.setdefault(maker, ZERO)
    cost = sum(together.values(), ZERO)
    if sum(by_others.values(), ZERO) > cost:
        raise Invalid(
            Sentence("Others paid more than the {cost} that this cost.", cost=cost), pointer="/paid"
        )
    payments: Mapping[Maker, Decimal] = {
        holder: cost - sum(by_others.values(), ZERO),
        **by_others,
    }
    return [Part(maker, share, payments.get(maker, ZERO)) for maker, share in together.items()]
