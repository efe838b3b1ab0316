"""Prices: from cost and margin, from markup, and what volume carries the fixed cost.

Margin is profit ÷ price, markup is (price - cost) ÷ cost; a markup taken for a margin makes
the price too low. Percent in, percent out; money is in the co-op's currency. Results have six
decimals, and rounding to a shelf price is the maker's to do.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil

from formulas.composition import plain
from formulas.errors import PriceImpossible
from ledger.costing import round_stored
from ledger.errors import (
    Invalid,
    Sentence,
)

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Price:
    """A price with both ways to speak of it.

    `margin_percent` is what is left after cost and fees, of the price; `markup_percent` is
    what the price adds to the unit cost, of the unit cost.
    """

    unit_cost: Decimal
    price: Decimal
    margin_percent: Decimal
    markup_percent: Decimal


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one unit leaves for fixed cost and profit, and as a share of its price (0 to 1)."""

    per_unit: Decimal
    ratio: Decimal


@dataclass(frozen=True, slots=True)
class Volume:
    """The volume that reaches a profit: exact, in whole units, and its sales at the exact one."""

    units: Decimal
    whole_units: int
    sales: Decimal


def price_for_margin(
    unit_cost: Decimal,
    margin_percent: Decimal,
    *,
    fee_percent: Decimal = ZERO,
    fixed_fee: Decimal = ZERO,
) -> Price:
    """Price that leaves `margin_percent` of itself after cost and selling fees.

    price = (unit cost + fixed fee) ÷ (1 - margin - fee %), as is common practice where a shop
    or a card costs a percentage of the price. Raises Invalid for a cost that is not above zero
    or a percent or fee below zero, and PriceImpossible when margin and fees take it all.
    """
    _check_cost(unit_cost)
    for figure, name in ((margin_percent, "margin_percent"), (fee_percent, "fee_percent")):
        _check_not_negative(figure, name)
    _check_not_negative(fixed_fee, "fixed_fee")
    taken = Fraction(margin_percent) + Fraction(fee_percent)
    if taken >= 100:
        raise PriceImpossible(percent=plain(taken), pointer="/margin_percent")
    exact = (Fraction(unit_cost) + Fraction(fixed_fee)) / (1 - taken / 100)
    price = round_stored(exact)
    return Price(unit_cost, price, margin_percent, markup_percent(unit_cost, price))


def price_for_markup(unit_cost: Decimal, markup_percent: Decimal) -> Decimal:
    """price = cost · (1 + markup). Raises Invalid for a cost not above zero or a markup below."""
    _check_cost(unit_cost)
    _check_not_negative(markup_percent, "markup_percent")
    return round_stored(Fraction(unit_cost) * (1 + Fraction(markup_percent) / 100))


def cost_for_markup(price: Decimal, markup_percent: Decimal) -> Decimal:
    """The cost that `price` covers with this markup: price ÷ (1 + markup). Raises Invalid."""
    _check_not_negative(price, "price")
    _check_not_negative(markup_percent, "markup_percent")
    return round_stored(Fraction(price) / (1 + Fraction(markup_percent) / 100))


def markup_percent(unit_cost: Decimal, price: Decimal) -> Decimal:
    """(price - cost) ÷ cost, in percent. Raises Invalid for a cost that is not above zero."""
    _check_cost(unit_cost)
    return round_stored((Fraction(price) / Fraction(unit_cost) - 1) * 100)


def margin_from_markup(markup_percent: Decimal) -> Decimal:
    """The margin that a markup gives when nothing else is paid: m ÷ (1 + m). Raises Invalid."""
    _check_not_negative(markup_percent, "markup_percent")
    markup = Fraction(markup_percent)
    return round_stored(markup * 100 / (100 + markup))


def markup_from_margin(margin_percent: Decimal) -> Decimal:
    """The markup that gives a margin: m ÷ (1 - m). Raises Invalid and PriceImpossible."""
    _check_not_negative(margin_percent, "margin_percent")
    margin = Fraction(margin_percent)
    if margin >= 100:
        raise PriceImpossible(percent=plain(margin), pointer="/margin_percent")
    return round_stored(margin * 100 / (100 - margin))


def contribution(price: Decimal, variable_cost: Decimal) -> Contribution:
    """Price - variable cost, and that ÷ price. Raises Invalid for a price not above zero."""
    if not (price.is_finite() and price > 0):
        raise Invalid("A price must be above zero.", pointer="/price")
    per_unit = Fraction(price) - Fraction(variable_cost)
    return Contribution(round_stored(per_unit), round_stored(per_unit / Fraction(price)))


def break_even(
    fixed_cost: Decimal, price: Decimal, variable_cost: Decimal, *, target_profit: Decimal = ZERO
) -> Volume:
    """Volume at which contribution pays `fixed_cost` and leaves `target_profit`.

    units = (fixed cost + target) ÷ (price - variable cost), the break-even formula of the
    textbooks; with no target it is the break-even point. Raises Invalid when a unit contributes
    nothing, so that no volume would do, and for a fixed cost or target below zero.
    """
    _check_not_negative(fixed_cost, "fixed_cost")
    _check_not_negative(target_profit, "target_profit")
    per_unit = Fraction(price) - Fraction(variable_cost)
    if per_unit <= 0:
        raise Invalid(
            "Each unit sold loses money at this price: no volume breaks even.", pointer="/price"
        )
    units = (Fraction(fixed_cost) + Fraction(target_profit)) / per_unit
    return Volume(round_stored(units), ceil(units), round_stored(units * Fraction(price)))


def profit_at(
    units: Decimal, *, fixed_cost: Decimal, price: Decimal, variable_cost: Decimal
) -> Decimal:
    """Operating income at a volume: units · (price - variable cost) - fixed cost."""
    per_unit = Fraction(price) - Fraction(variable_cost)
    return round_stored(Fraction(units) * per_unit - Fraction(fixed_cost))


def _check_cost(unit_cost: Decimal) -> None:
    if not (unit_cost.is_finite() and unit_cost > 0):
        raise Invalid("A price is built on a unit cost above zero.", pointer="/unit_cost")


def _check_not_negative(figure: Decimal, name: str) -> None:
    if not figure.is_finite() or figure < 0:
        raise Invalid(Sentence("{name} must be zero or more.", name=name), pointer=f"/{name}")
