"""How the margin of a channel moves with its price, and the price at which it is none.

margin = (net price - fees - unit cost) ÷ net price, as is common practice; money is in the co-op's
currency, percents are 0 to 100. Prices are without tax.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from formulas.ladder import Channel, ChannelPrice, Including
from ledger.costing import round_stored

STEPS: Final = 24


@dataclass(frozen=True, slots=True)
class Curve:
    """Net prices of a channel with the margin in percent of each, the lowest price first.

    At `even` nothing is left and nothing lost; None where the fees take all of any price. `listed`
    is the price on the list with its margin.
    """

    name: str
    points: tuple[tuple[Decimal, Decimal], ...]
    even: Decimal | None
    listed: tuple[Decimal, Decimal]


def even_price(channel: Channel, unit_cost: Decimal) -> Decimal | None:
    """The net price that pays for the unit and the fees: (cost + fixed fee) ÷ (1 - fee %).

    Six decimals; None where a percent fee takes all of it.
    """
    kept = 1 - _fee_rate(channel)
    if kept <= 0:
        return None
    return round_stored((Fraction(unit_cost) + Fraction(channel.fixed_fee)) / kept)


def margin_at(channel: Channel, unit_cost: Decimal, net: Decimal) -> Decimal:
    """The margin in percent of a net price above zero, after fees and the unit cost."""
    price = Fraction(net)
    left = price - price * _fee_rate(channel) - Fraction(channel.fixed_fee) - Fraction(unit_cost)
    return round_stored(left * 100 / price)


def curves_of(
    priced: Sequence[tuple[Channel, ChannelPrice]], unit_cost: Decimal
) -> tuple[Curve, ...]:
    """A curve for each channel, all over the same prices.

    They go from three quarters of the lowest price that is marked to a quarter above the highest.
    """
    marked = [one.listed.net for _, one in priced]
    evens = [even_price(channel, unit_cost) for channel, _ in priced]
    marked += [even for even in evens if even is not None]
    if not marked:
        return ()
    low, high = Fraction(min(marked)) * 3 / 4, Fraction(max(marked)) * 5 / 4
    prices = [round_stored(low + (high - low) * step / STEPS) for step in range(STEPS + 1)]
    return tuple(
        Curve(
            name=channel.name,
            points=tuple((net, margin_at(channel, unit_cost, net)) for net in prices),
            even=even,
            listed=(one.listed.net, one.listed.margin_percent),
        )
        for (channel, one), even in zip(priced, evens, strict=True)
    )


def _fee_rate(channel: Channel) -> Fraction:
    """What a percent fee takes of one unit of net price."""
    rate = Fraction(channel.fee_percent) / 100
    if channel.fee_on is Including.GROSS:
        return rate * (1 + Fraction(channel.tax_percent) / 100)
    return rate
