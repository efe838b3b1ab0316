"""What is left of whole packs when all pledges are served, and who gets it.

Whoever asked for the leftover of a material buys it at what the goods cost, without freight, if
that is within its highest price. Otherwise it goes to those who pledged the material, as they
pledged: their shares have paid for the packs already, as each would have alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from ledger.money import round_to_step, split_exactly
from ledger.order_bills import SupplierOrder
from ledger.round_pledges import Pledge, goods_of, wanted

# Grams are kept to a millionth; pieces are whole.
GRAIN: Final = Decimal("0.000001")
PIECE: Final = Decimal(1)


@dataclass(frozen=True, slots=True)
class Left:
    """So much beyond a pledge, in grams or pieces, and what is paid for it."""

    quantity: Decimal = Decimal(0)
    amount: Decimal = Decimal(0)


def leftovers(
    pledges: Sequence[Pledge], orders: Sequence[SupplierOrder], coin: Decimal
) -> dict[Pledge, Left]:
    """By pledge, all that is bought beyond the pledges, to the last grain, and its amount."""
    pledged = wanted(pledges)
    found: dict[Pledge, Left] = {}
    for material, (bought, cost) in goods_of(orders).items():
        left = bought - pledged[material]
        if left > 0:
            amount = round_to_step(cost * left / bought, coin)
            of_material = [pledge for pledge in pledges if pledge.material == material]
            found |= _shared_out(of_material, left, amount, coin)
    return found


def _shared_out(
    pledges: Sequence[Pledge], left: Decimal, amount: Decimal, coin: Decimal
) -> dict[Pledge, Left]:
    takers = [
        pledge
        for pledge in pledges
        if pledge.takes_leftover and pledge.accepts(pledge.price_of(amount, left))
    ]
    getting = takers or [pledge for pledge in pledges if pledge.quantity]
    weights = [pledge.quantity or Decimal(0) for pledge in getting]
    if not any(weights):
        weights = [Decimal(1)] * len(getting)
    step = PIECE if pledges[0].counted else GRAIN
    quantities = split_exactly(left, weights, step=step)
    amounts = (
        split_exactly(amount, quantities, step=coin) if takers else [Decimal(0)] * len(weights)
    )
    return {
        pledge: Left(*one)
        for pledge, one in zip(getting, zip(quantities, amounts, strict=True), strict=True)
    }
