"""Why a batch cost more or less than its standard: price, mix, yield, packaging, labour, overhead.

A variance is actual - standard: above zero costs more than the standard and is unfavourable, below
zero is favourable. The formulas are the cost-accounting textbooks':

    price      actual value - actual quantity · standard price
    mix        (actual quantity - its share of the standard mix) · standard price
    yield      (all that went in - what the standard takes for the actual output) · standard mix
    usage      mix + yield
    rate       (actual rate - standard rate) · actual hours
    efficiency (actual hours - standard hours) · standard rate

Each is the difference of two amounts that are rounded to six decimals and shared with the next, so
that all of them add up to the total exactly. Quantities are grams or pieces, labour is in minutes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from ledger.costing import round_stored
from ledger.errors import Invalid, QuantityNotPositive

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Input:
    """One material: its share in the standard mix in any unit (zero if it is not in it), standard
    price of a gram or a piece, and what went in and at what value."""

    name: str
    standard_share: Decimal
    standard_price: Decimal
    quantity: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class InputVariance:
    """The variances of one material; they sum to its value - its standard for the output."""

    name: str
    price: Decimal
    mix: Decimal
    yielded: Decimal
    standard: Decimal

    @property
    def usage(self) -> Decimal:
        """Mix and yield together."""
        return self.mix + self.yielded

    @property
    def total(self) -> Decimal:
        return self.price + self.usage


@dataclass(frozen=True, slots=True)
class Split:
    """A variance in two parts: of the price or rate, and of the quantity or time."""

    price: Decimal
    usage: Decimal
    standard: Decimal

    @property
    def total(self) -> Decimal:
        return self.price + self.usage


def input_variances(
    inputs: Sequence[Input], *, standard_yield: Fraction, output: Decimal
) -> tuple[InputVariance, ...]:
    """Price, mix and yield of each input; `standard_yield` is output ÷ input, above zero.

    Raises QuantityNotPositive without output, Invalid for a yield or shares that are not above
    zero, or a quantity, price or value below zero.
    """
    if not (output.is_finite() and output > 0):
        raise QuantityNotPositive
    shares = sum((Fraction(one.standard_share) for one in inputs), Fraction(0))
    if standard_yield <= 0 or shares <= 0:
        raise Invalid("A standard has a mix and a yield above zero.")
    for one in inputs:
        figures = (one.standard_share, one.standard_price, one.quantity, one.value)
        if not all(figure.is_finite() and figure >= 0 for figure in figures):
            raise Invalid(f"A figure of {one.name} is below zero.")
    all_in = sum((Fraction(one.quantity) for one in inputs), Fraction(0))
    wanted = Fraction(output) / standard_yield
    return tuple(
        _of_input(one, Fraction(one.standard_share) / shares, all_in, wanted) for one in inputs
    )


def split_variance(
    actual: Decimal, quantity: Decimal, *, standard_quantity: Fraction, standard_price: Fraction
) -> Split:
    """Price and usage of what has no mix, such as packaging; or rate and efficiency of labour.

    `actual` is the value of `quantity`. The standards are those for the actual output.
    """
    at_standard = round_stored(Fraction(quantity) * standard_price)
    standard = round_stored(standard_quantity * standard_price)
    return Split(actual - at_standard, at_standard - standard, standard)


def _of_input(one: Input, share: Fraction, all_in: Fraction, wanted: Fraction) -> InputVariance:
    price = Fraction(one.standard_price)
    at_standard = round_stored(Fraction(one.quantity) * price)
    in_mix = round_stored(all_in * share * price)
    standard = round_stored(wanted * share * price)
    return InputVariance(
        name=one.name,
        price=one.value - at_standard,
        mix=at_standard - in_mix,
        yielded=in_mix - standard,
        standard=standard,
    )
