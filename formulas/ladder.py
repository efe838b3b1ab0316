"""A ladder of prices: what each channel pays for a unit, what stays with the maker, what is tax.

A channel's price comes from a margin (of the price) or from a markup (on the cost) or is given as
it stands; never from two of them. Tax is what the buyer pays on top of the net price and is never
the maker's. Money is in the co-op's currency, percents are 0 to 100.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from math import ceil, floor

from formulas.errors import BelowCost
from formulas.pricing import break_even, markup_percent, price_for_margin, price_for_markup
from ledger.costing import round_stored
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.money import minor_unit, round_money

ZERO = Decimal(0)


class Direction(StrEnum):
    """Which way a price goes to its ending."""

    UP = "up"
    NEAREST = "nearest"
    DOWN = "down"


class Including(StrEnum):
    """Whether a figure is meant with the tax in it (gross) or without (net)."""

    NET = "net"
    GROSS = "gross"


@dataclass(frozen=True, slots=True)
class Ending:
    """Prices are a whole number of `every` and `ends_in`: 0.95 after every 1, or steps of 0.05."""

    every: Decimal
    ends_in: Decimal = ZERO
    direction: Direction = Direction.UP


@dataclass(frozen=True, slots=True)
class Channel:
    """How a price for one kind of buyer is made: by `margin`, by `markup`, or it is `price`.

    `fee_percent` is taken by the shop or the card from the price without tax, or with it as
    `fee_on` says. The ending, and a given price, are of what the price list shows: `shown`.
    """

    name: str
    margin_percent: Decimal | None = None
    markup_percent: Decimal | None = None
    price: Decimal | None = None
    fee_percent: Decimal = ZERO
    fixed_fee: Decimal = ZERO
    fee_on: Including = Including.NET
    tax_percent: Decimal = ZERO
    shown: Including = Including.GROSS
    ending: Ending | None = None


@dataclass(frozen=True, slots=True)
class Listed:
    """A price as the list has it, at the currency's minor unit: net + tax = gross.

    `fees` are taken from it, and `left` stays after them and the unit cost. `margin_percent` is
    left ÷ net, `markup_percent` (net - unit cost) ÷ unit cost.
    """

    net: Decimal
    tax: Decimal
    gross: Decimal
    fees: Decimal
    left: Decimal
    margin_percent: Decimal
    markup_percent: Decimal


@dataclass(frozen=True, slots=True)
class ChannelPrice:
    """What a channel pays: `price` without tax before it was rounded (six decimals), with its
    margin and markup, and what the price list has of it."""

    name: str
    unit_cost: Decimal
    price: Decimal
    margin_percent: Decimal
    markup_percent: Decimal
    listed: Listed

    @property
    def received(self) -> Decimal:
        """What comes in for a unit after the fees."""
        return self.listed.net - self.listed.fees

    @property
    def below_cost(self) -> bool:
        """Whether what comes in after the fees does not pay for the unit."""
        return self.listed.left < 0


@dataclass(frozen=True, slots=True)
class BreakEven:
    """The volume that pays the fixed cost: exact, in whole units, in whole batches, net sales."""

    units: Decimal
    whole_units: int
    batches: int | None
    sales: Decimal


def price_channel(channel: Channel, unit_cost: Decimal, currency: str) -> ChannelPrice:
    """The price of one channel for a unit that costs `unit_cost`.

    Without an ending the shown price goes up to the currency's minor unit, so that the margin is
    kept. Raises Invalid unless exactly one of margin, markup and price is given, PriceImpossible
    when margin and fees take the whole price, and what the formulas of `pricing` raise.
    """
    _check(channel)
    rate = Fraction(channel.tax_percent) / 100
    target = _target(channel, unit_cost, rate)
    price = round_stored(target)
    margin = channel.margin_percent
    if margin is None:
        fees = _fees(channel, target, target * (1 + rate))
        margin = round_stored((target - fees - Fraction(unit_cost)) * 100 / target)
    return ChannelPrice(
        name=channel.name,
        unit_cost=unit_cost,
        price=price,
        margin_percent=margin,
        markup_percent=markup_percent(unit_cost, price),
        listed=_listed(channel, unit_cost, *_rounded(channel, target, rate, currency)),
    )


def refuse_below_cost(priced: ChannelPrice) -> None:
    """Raises BelowCost for a price that does not pay for the unit once the fees are taken."""
    if priced.below_cost:
        raise BelowCost(
            name=priced.name,
            net=priced.listed.net,
            received=priced.received,
            unit_cost=priced.unit_cost,
        )


def end_price(price: Fraction, ending: Ending) -> Decimal:
    """`price` at its ending, above zero: the least one not below it when it goes up.

    Common practice of price lists ("19.95"). A tie goes up. Raises Invalid for a step that is not
    above zero, or an ending that does not lie within it.
    """
    every, ends_in = ending.every, ending.ends_in
    if not (every.is_finite() and every > 0):
        raise Invalid("Prices end at a step above zero.", pointer="/ending/every")
    if not (ends_in.is_finite() and 0 <= ends_in < every):
        raise Invalid("A price ends within its step: below it.", pointer="/ending/ends_in")
    steps = (price - Fraction(ends_in)) / Fraction(every)
    whole = {
        Direction.UP: ceil(steps),
        Direction.DOWN: floor(steps),
        Direction.NEAREST: floor(steps + Fraction(1, 2)),
    }[ending.direction]
    least = 0 if ends_in else 1
    return max(whole, least) * every + ends_in


def break_even_of(
    priced: ChannelPrice,
    fixed_cost: Decimal,
    *,
    variable_cost: Decimal | None = None,
    target_profit: Decimal = ZERO,
    batch_units: int | None = None,
) -> BreakEven | None:
    """The volume in one channel at which what is left pays `fixed_cost` and leaves a target.

    units = (fixed cost + target) ÷ (net price - fees - variable cost), the break-even formula of
    the textbooks; `variable_cost` is the unit cost unless given. None where a unit contributes
    nothing, so that no volume would do.
    """
    variable = priced.unit_cost if variable_cost is None else variable_cost
    received = priced.received
    if received <= variable:
        return None
    volume = break_even(fixed_cost, received, variable, target_profit=target_profit)
    batches = None if batch_units is None else -(-volume.whole_units // batch_units)
    sales = round_stored(Fraction(volume.units) * Fraction(priced.listed.net))
    return BreakEven(volume.units, volume.whole_units, batches, sales)


def _check(channel: Channel) -> None:
    ways = ("margin_percent", "markup_percent", "price")
    said = [name for name in ways if getattr(channel, name) is not None]
    if len(said) != 1:
        raise Invalid(
            "Say a margin (of the price), a markup (on the cost) or the price itself: exactly"
            " one of them. A margin of 60 % and a markup of 60 % are far apart.",
            pointer=f"/{said[1]}" if said else "/margin_percent",
        )
    if not channel.tax_percent.is_finite() or not 0 <= channel.tax_percent <= 100:
        raise Invalid("A tax is 0 to 100 percent.", pointer="/tax_percent")


def _target(channel: Channel, unit_cost: Decimal, rate: Fraction) -> Fraction:
    """The exact price without tax."""
    if channel.margin_percent is not None:
        fee = channel.fee_percent
        if channel.fee_on is Including.GROSS:
            fee = channel.fee_percent * (1 + channel.tax_percent / 100)
        return Fraction(
            price_for_margin(
                unit_cost, channel.margin_percent, fee_percent=fee, fixed_fee=channel.fixed_fee
            ).price
        )
    if channel.markup_percent is not None:
        return Fraction(price_for_markup(unit_cost, channel.markup_percent))
    if channel.price is None or channel.price <= 0:
        raise Invalid("A price must be above zero.", pointer="/price")
    given = Fraction(channel.price)
    return given / (1 + rate) if channel.shown is Including.GROSS else given


def _rounded(
    channel: Channel, target: Fraction, rate: Fraction, currency: str
) -> tuple[Decimal, Decimal, Decimal]:
    """Net, tax and gross of the price list, which add up exactly at the minor unit."""
    step = minor_unit(currency)
    ending = channel.ending or Ending(step)
    if channel.shown is Including.GROSS:
        gross = _to_coins(end_price(target * (1 + rate), ending), step)
        net = round_money(round_stored(Fraction(gross) / (1 + rate)), currency)
        return net, gross - net, gross
    net = _to_coins(end_price(target, ending), step)
    tax = round_money(round_stored(Fraction(net) * rate), currency)
    return net, tax, net + tax


def _listed(
    channel: Channel, unit_cost: Decimal, net: Decimal, tax: Decimal, gross: Decimal
) -> Listed:
    if net <= 0:
        raise Invalid("This rounds to a price of nothing.", pointer="/ending")
    fees = round_stored(_fees(channel, Fraction(net), Fraction(gross)))
    left = net - fees - unit_cost
    margin = round_stored(Fraction(left) * 100 / Fraction(net))
    return Listed(net, tax, gross, fees, left, margin, markup_percent(unit_cost, net))


def _fees(channel: Channel, net: Fraction, gross: Fraction) -> Fraction:
    base = gross if channel.fee_on is Including.GROSS else net
    return base * Fraction(channel.fee_percent) / 100 + Fraction(channel.fixed_fee)


def _to_coins(price: Decimal, step: Decimal) -> Decimal:
    if (Fraction(price) / Fraction(step)).denominator != 1:
        raise Invalid(
            Sentence("Prices end in whole coins of {step}.", step=step), pointer="/ending/ends_in"
        )
    return price.quantize(step)
