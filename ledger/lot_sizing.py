"""How much to order at a time, where one material and one supplier are looked at alone.

Quantities are grams or pieces, money is in the co-op's currency, and use and cost of keeping are
of the same stretch of time, usually a year. What several materials share, as freight and minimum
orders, is the order plan's.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from ledger.errors import Invalid


@dataclass(frozen=True, slots=True)
class Break:
    """From this quantity on, every unit of the order costs so much."""

    from_quantity: Decimal
    unit_price: Decimal


@dataclass(frozen=True, slots=True)
class LotSize:
    """How much to order, and what that costs: ordering and keeping, and goods where counted."""

    quantity: Decimal
    cost: Decimal


def economic_quantity(*, use: Decimal, per_order: Decimal, keeping: Decimal) -> LotSize:
    """EOQ = sqrt(2 D S / H), with the cost of ordering and keeping, without the goods.

    Harris (1913), How many parts to make at once. Raises Invalid for a figure not above zero.
    """
    _must_be_above_zero(use, per_order, keeping)
    quantity = (2 * use * per_order / keeping).sqrt()
    return LotSize(quantity, _running(quantity, use, per_order, keeping))


def cost_at(quantity: Decimal, *, use: Decimal, per_order: Decimal, keeping: Decimal) -> Decimal:
    """The cost of ordering and keeping for any size of order. Raises Invalid."""
    _must_be_above_zero(quantity, use, per_order, keeping)
    return _running(quantity, use, per_order, keeping)


def economic_quantity_with_breaks(
    breaks: Sequence[Break], *, use: Decimal, per_order: Decimal, keeping_rate: Decimal
) -> LotSize:
    """The cheapest size of order when all units of an order cost less from a break on.

    Keeping costs a share of the price. Each price's own EOQ where it is reached, and each break,
    are compared by the whole cost, goods included (Silver, Pyke, Peterson, ch. 4, from memory).
    Raises Invalid for no breaks, breaks that do not rise, or a figure not above zero.
    """
    steps = [one.from_quantity for one in breaks]
    if not breaks or steps != sorted(set(steps)):
        raise Invalid("Give at least one price, and breaks in rising order.")
    # With prices above zero, each price's own quantity asks the same of the other figures.
    _must_be_above_zero(*(one.unit_price for one in breaks))
    found = []
    for number, one in enumerate(breaks):
        keeping = keeping_rate * one.unit_price
        own = economic_quantity(use=use, per_order=per_order, keeping=keeping).quantity
        if number + 1 < len(breaks) and own >= breaks[number + 1].from_quantity:
            continue
        quantity = max(own, one.from_quantity)
        cost = use * one.unit_price + _running(quantity, use, per_order, keeping)
        found.append(LotSize(quantity, cost))
    return min(found, key=lambda size: (size.cost, size.quantity))


def _running(quantity: Decimal, use: Decimal, per_order: Decimal, keeping: Decimal) -> Decimal:
    return per_order * use / quantity + keeping * quantity / 2


def _must_be_above_zero(*figures: Decimal) -> None:
    if not all(figure > 0 for figure in figures):
        raise Invalid("Use, prices and costs of ordering and keeping are above zero.")
