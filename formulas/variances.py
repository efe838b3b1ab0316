"""Why a batch cost more or less than its standard: price, mix, yield, packaging, labour, overhead.

A variance is actual - standard: above zero costs more than the standard and is adverse, below zero
is favourable. The formulas are the cost-accounting textbooks' and stand in FORMULAS.

Each is the difference of two amounts that are rounded to six decimals and shared with the next, so
that all of them add up to the total exactly. Quantities are grams or pieces, labour is in minutes.

What the standard does not list has no standard price: it is taken at what it cost, so that all of
it is mix, or usage of packaging (a choice of ours; the textbooks do not say).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Final

from formulas.composition import left_after_loss
from formulas.costing import Labour, Overhead
from ledger.costing import round_stored
from ledger.errors import (
    Invalid,
    QuantityNotPositive,
    Sentence,
)

ZERO = Decimal(0)
USAGE: Final = "mix + yield"
# Those of a batch, which sum to all of its variance.
FORMULAS: Final = {
    "price": "actual value - actual quantity · standard price",
    "mix": "(actual quantity - its share of all that went in by the standard mix) · standard price",
    "yield": "(all that went in - what the standard takes for the output) · standard mix",
    "packaging_price": "actual value - actual pieces · standard price",
    "packaging_usage": "(actual pieces - standard pieces of the units) · standard price",
    "labour_rate": "(actual rate - standard rate) · actual hours",
    "labour_efficiency": "(actual hours - standard hours) · standard rate",
    "overhead_rate": "actual overhead - standard overhead on the actual materials",
    "overhead_base": "standard overhead on the actual materials - on the standard ones",
}


class Direction(StrEnum):
    """What a variance means for the maker."""

    ADVERSE = "adverse"
    FAVOURABLE = "favourable"
    NONE = "none"

    @classmethod
    def of(cls, variance: Decimal) -> "Direction":
        """Adverse above zero: it cost more than it should have."""
        if variance == 0:
            return cls.NONE
        return cls.ADVERSE if variance > 0 else cls.FAVOURABLE


@dataclass(frozen=True, slots=True)
class Input:
    """One material: its share in the standard mix in any unit (zero if it is not in it), standard
    price of a gram (None if it has none), and what went in and at what value."""

    name: str
    standard_share: Decimal
    standard_price: Decimal | None
    quantity: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class InputVariance:
    """The variances of one material; they sum to its value - its standard for the output.

    `quantity` went in, and `wanted` is what the standard takes for the output, to six decimals.
    """

    name: str
    quantity: Decimal
    wanted: Decimal
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

    @property
    def actual(self) -> Decimal:
        """What it cost."""
        return self.standard + self.total


@dataclass(frozen=True, slots=True)
class Split:
    """A variance in two parts: of the price or rate, and of the quantity or time.

    `quantity` was taken, and `wanted` by the standard, to six decimals; overhead has neither.
    """

    price: Decimal
    usage: Decimal
    standard: Decimal
    quantity: Decimal = ZERO
    wanted: Decimal = ZERO

    @property
    def total(self) -> Decimal:
        return self.price + self.usage

    @property
    def actual(self) -> Decimal:
        """What it cost."""
        return self.standard + self.total


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
        if one.standard_price is None and one.standard_share:
            raise Invalid(Sentence("{name} is in the standard and has no price.", name=one.name))
        price = one.standard_price or ZERO
        figures = (one.standard_share, price, one.quantity, one.value)
        if not all(figure.is_finite() and figure >= 0 for figure in figures):
            raise Invalid(Sentence("A figure of {name} is below zero.", name=one.name))
    all_in = sum((Fraction(one.quantity) for one in inputs), Fraction(0))
    wanted = Fraction(output) / standard_yield
    return tuple(
        _of_input(one, Fraction(one.standard_share) / shares, all_in, wanted) for one in inputs
    )


def split_variance(
    actual: Decimal,
    quantity: Decimal | Fraction,
    *,
    standard_quantity: Fraction,
    standard_price: Fraction,
) -> Split:
    """Price and usage of what has no mix, such as packaging; or rate and efficiency of labour.

    `actual` is the value of `quantity`. The standards are those for the actual output.
    """
    at_standard = round_stored(Fraction(quantity) * standard_price)
    standard = round_stored(standard_quantity * standard_price)
    return Split(
        price=actual - at_standard,
        usage=at_standard - standard,
        standard=standard,
        quantity=round_stored(Fraction(quantity)),
        wanted=round_stored(standard_quantity),
    )


@dataclass(frozen=True, slots=True)
class Priced:
    """What a standard says of one material: its share (percent, or pieces in a unit), and the price
    of a gram or a piece."""

    share: Decimal
    price: Decimal


@dataclass(frozen=True, slots=True)
class Standard:
    """What a batch should cost: materials by their share of what is weighed in, the loss that is
    expected, packaging of a unit, and the policy for labour and overhead."""

    materials: Mapping[str, Priced]
    process_loss_percent: Decimal
    labour: Labour
    overhead: Overhead
    packaging: Mapping[str, Priced] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Goods:
    """So many grams or pieces, and what they cost."""

    quantity: Decimal
    value: Decimal


NOTHING: Final = Goods(ZERO, ZERO)


@dataclass(frozen=True, slots=True)
class Actual:
    """What a batch really took and cost for its output; no units where nothing was filled."""

    output_grams: Decimal
    materials: Mapping[str, Goods]
    packaging: Mapping[str, Goods] = field(default_factory=dict)
    units: int = 0
    minutes: Fraction = Fraction(0)
    labour: Decimal = ZERO
    overhead: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class BatchVariances:
    """All variances of a batch; they sum to `actual` - `standard` to the last digit.

    Labour has its rate as `price` and its efficiency as `usage`; overhead its rate, and its base.
    """

    materials: tuple[InputVariance, ...]
    packaging: Mapping[str, Split]
    labour: Split
    overhead: Split
    actual: Decimal

    @property
    def all_materials(self) -> InputVariance:
        """Of all materials together."""
        return InputVariance(
            name="materials",
            quantity=sum((one.quantity for one in self.materials), ZERO),
            wanted=sum((one.wanted for one in self.materials), ZERO),
            price=sum((one.price for one in self.materials), ZERO),
            mix=sum((one.mix for one in self.materials), ZERO),
            yielded=sum((one.yielded for one in self.materials), ZERO),
            standard=sum((one.standard for one in self.materials), ZERO),
        )

    @property
    def all_packaging(self) -> Split:
        """Of all packaging together, whose pieces are no sum."""
        packaging = self.packaging.values()
        return Split(
            price=sum((one.price for one in packaging), ZERO),
            usage=sum((one.usage for one in packaging), ZERO),
            standard=sum((one.standard for one in packaging), ZERO),
        )

    @property
    def standard(self) -> Decimal:
        """What the output should have cost."""
        split = self.all_packaging.standard + self.labour.standard + self.overhead.standard
        return self.all_materials.standard + split

    @property
    def total(self) -> Decimal:
        """Above zero, the batch cost more than it should have."""
        return self.actual - self.standard

    @property
    def parts(self) -> dict[str, Decimal]:
        """The variances of all lines together, by the names of FORMULAS; they sum to the total."""
        materials, packaging = self.all_materials, self.all_packaging
        return {
            "price": materials.price,
            "mix": materials.mix,
            "yield": materials.yielded,
            "packaging_price": packaging.price,
            "packaging_usage": packaging.usage,
            "labour_rate": self.labour.price,
            "labour_efficiency": self.labour.usage,
            "overhead_rate": self.overhead.price,
            "overhead_base": self.overhead.usage,
        }


def batch_variances(standard: Standard, actual: Actual) -> BatchVariances:
    """Compare what a batch cost with what its output should have cost.

    Materials and packaging come in the order of the standard, then what only went in. Raises what
    `input_variances` does.
    """
    materials = input_variances(
        [_input(name, standard, actual) for name in _all(standard.materials, actual.materials)],
        standard_yield=left_after_loss(standard.process_loss_percent),
        output=actual.output_grams,
    )
    packaging = {
        name: _packed(standard.packaging.get(name), actual.packaging.get(name, NOTHING), actual)
        for name in _all(standard.packaging, actual.packaging)
    }
    goods = [*actual.materials.values(), *actual.packaging.values()]
    return BatchVariances(
        materials=materials,
        packaging=packaging,
        labour=split_variance(
            actual.labour,
            actual.minutes,
            standard_quantity=standard.labour.minutes(actual.units),
            standard_price=Fraction(standard.labour.hourly_rate) / 60,
        ),
        overhead=_of_overhead(standard.overhead, actual, materials),
        actual=sum((one.value for one in goods), ZERO) + actual.labour + actual.overhead,
    )


def grams_per_kg(percent: Decimal, left: Fraction) -> Decimal:
    """Grams of a material in a kilogram of output, of which `left` is left after the loss."""
    return round_stored(Fraction(percent) * 10 / left)


def cost_per_kg(materials: Iterable[tuple[Decimal, Decimal]], left: Fraction) -> Decimal:
    """What a kilogram of output costs, by percent and price of a kilogram of each material."""
    costs = (Fraction(percent) * Fraction(price) for percent, price in materials)
    return round_stored(sum(costs, Fraction(0)) / 100 / left)


def _all(one: Mapping[str, object], other: Mapping[str, object]) -> list[str]:
    return list(dict.fromkeys((*one, *other)))


def _input(name: str, standard: Standard, actual: Actual) -> Input:
    goods, priced = actual.materials.get(name, NOTHING), standard.materials.get(name)
    share, price = (priced.share, priced.price) if priced else (ZERO, None)
    return Input(name, share, price, goods.quantity, goods.value)


def _packed(priced: Priced | None, goods: Goods, actual: Actual) -> Split:
    if priced is None:
        return Split(ZERO, goods.value, ZERO, goods.quantity)
    return split_variance(
        goods.value,
        goods.quantity,
        standard_quantity=Fraction(priced.share) * actual.units,
        standard_price=Fraction(priced.price),
    )


def _of_overhead(overhead: Overhead, actual: Actual, materials: Sequence[InputVariance]) -> Split:
    on_actual = overhead.cost(sum((one.value for one in actual.materials.values()), ZERO))
    on_standard = overhead.cost(sum((one.standard for one in materials), ZERO))
    return Split(actual.overhead - on_actual, on_actual - on_standard, on_standard)


def _of_input(one: Input, share: Fraction, all_in: Fraction, wanted: Fraction) -> InputVariance:
    price = Fraction(one.standard_price or 0)
    at_standard = round_stored(Fraction(one.quantity) * price)
    if one.standard_price is None:
        at_standard = one.value
    in_mix = round_stored(all_in * share * price)
    standard = round_stored(wanted * share * price)
    return InputVariance(
        name=one.name,
        quantity=one.quantity,
        wanted=round_stored(wanted * share),
        price=one.value - at_standard,
        mix=at_standard - in_mix,
        yielded=in_mix - standard,
        standard=standard,
    )
