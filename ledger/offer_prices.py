"""What packs of an offer cost: price breaks, freight, other currencies. Pure.

Quantities are grams or pieces, amounts are in one currency, and a price is of one pack. Breaks are
of all units (the usual kind of the trade: Silver, Pyke, Peterson, ch. 4, from memory): from a
quantity on, every pack of the order costs less, not only those above it. Nothing is rounded here
but what a column keeps.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal, localcontext
from enum import StrEnum
from typing import Final

from ledger.errors import Invalid, MassMissing, MoneyTooLarge
from ledger.money import TOO_MUCH_MONEY

GRAMS_IN_KG: Final = 1000
HUNDRED: Final = 100
# As fine as amounts are kept.
FINEST: Final = Decimal("0.000001")


class FreightKind(StrEnum):
    """How a supplier charges for carriage: not at all, by the order, or by its kilograms."""

    NONE = "none"
    FLAT = "flat"
    MASS = "mass"


@dataclass(frozen=True, slots=True)
class PackBreak:
    """From so many grams or pieces in one order on, each pack of the order costs this."""

    at_least: Decimal
    price: Decimal


@dataclass(frozen=True, slots=True)
class Freight:
    """`amount` is of an order or of its kilogram; goods of `free_from` or more travel free."""

    kind: FreightKind
    amount: Decimal = Decimal(0)
    free_from: Decimal | None = None


def in_own_currency(amount: Decimal, rate: Decimal) -> Decimal:
    """An amount at so much of one's own currency for one of the other, half-even to six decimals.

    Raises MoneyTooLarge for what no column keeps, Invalid where nothing is left of it.
    """
    with localcontext() as context:
        context.prec = 80
        own = (amount * rate).quantize(FINEST, rounding=ROUND_HALF_EVEN)
    if own >= TOO_MUCH_MONEY:
        raise MoneyTooLarge
    if amount > 0 and own == 0:
        raise Invalid("At this rate nothing is left of the amount; check the rate.")
    return own


def check_breaks(*, pack: Decimal, price: Decimal, breaks: Sequence[PackBreak]) -> None:
    """Breaks begin above one pack, rise, and lower the price each time.

    Raises Invalid, placed at the break that does not.
    """
    before = PackBreak(pack, price)
    for place, one in enumerate(breaks):
        if one.at_least <= before.at_least:
            raise Invalid(
                "Breaks begin above one pack and rise: give each the quantity that it starts at.",
                pointer=f"/{place}/at_least",
            )
        if one.price >= before.price:
            raise Invalid(
                "A break lowers the price of a pack: give the price of one pack, not of the order.",
                pointer=f"/{place}/price",
            )
        before = one


def packs_for(quantity: Decimal, pack: Decimal) -> int:
    """The fewest whole packs that hold the quantity; none for a quantity of zero or less."""
    if quantity <= 0:
        return 0
    with localcontext() as context:
        context.prec = 80
        return int((quantity / pack).to_integral_value(rounding=ROUND_CEILING))


def price_at(
    packs: int, *, pack: Decimal, price: Decimal, breaks: Sequence[PackBreak] = ()
) -> Decimal:
    """What each pack costs in an order of so many: that of the last break that is reached."""
    reached = [one.price for one in breaks if one.at_least <= packs * pack]
    return reached[-1] if reached else price


def cost_of(
    packs: int, *, pack: Decimal, price: Decimal, breaks: Sequence[PackBreak] = ()
) -> Decimal:
    """What an order of so many packs costs, without freight."""
    return packs * price_at(packs, pack=pack, price=price, breaks=breaks)


def freight_of(freight: Freight, *, goods: Decimal, grams: Decimal | None) -> Decimal:
    """The freight of an order whose goods cost `goods` and weigh `grams`.

    Raises MassMissing where freight goes by mass and nobody knows the mass of what is counted.
    """
    if freight.kind is FreightKind.NONE:
        return Decimal(0)
    if freight.free_from is not None and goods >= freight.free_from:
        return Decimal(0)
    if freight.kind is FreightKind.FLAT:
        return freight.amount
    if grams is None:
        raise MassMissing("Freight by mass needs the mass of one piece: give mass_each.")
    return freight.amount * grams / GRAMS_IN_KG


def below_minimum(minimum: Decimal | None, *, goods: Decimal) -> Decimal:
    """By how much the goods of an order are below what the supplier asks for; zero where not."""
    return max(Decimal(0), (minimum or Decimal(0)) - goods)


def unit_price(price: Decimal, pack: Decimal, *, counted: bool) -> Decimal:
    """What a kilogram costs at so much for a pack of so many grams, or a piece of what is counted.

    Half-even to six decimals.
    """
    with localcontext() as context:
        context.prec = 80
        whole = price if counted else price * GRAMS_IN_KG
        return (whole / pack).quantize(FINEST, rounding=ROUND_HALF_EVEN)


def rise_percent(before: Decimal, after: Decimal) -> Decimal:
    """By how many percent a price rose; below zero where it fell. Both are of one unit."""
    return (after - before) / before * HUNDRED
