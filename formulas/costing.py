"""What a batch cost and what it yielded.

Inputs are materials, packaging, labour and overhead (cost of conversion: IAS 2, paragraph 12).
Normal loss raises the cost of what is good; abnormal loss is an expense (IAS 2, paragraph
16(a), and process costing in the textbooks). No consumed input comes back.

Masses are grams, money is in the co-op's currency. Figures that are posted have six decimals;
`shown` brings them to the minor unit so that they still add up.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from math import floor

from formulas.composition import left_after_loss
from ledger.costing import GRAMS_PER_KG, round_stored, unit_cost
from ledger.errors import (
    Invalid,
    QuantityNotPositive,
    Sentence,
)
from ledger.money import minor_unit, round_money

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Labour:
    """The maker's policy for labour: minutes, and what an hour costs.

    `recorded` are the minutes that a batch really took; they stand before those of the policy.
    """

    hourly_rate: Decimal
    minutes_per_batch: Decimal = ZERO
    minutes_per_unit: Decimal = ZERO
    recorded: Decimal | None = None

    def minutes(self, units: int = 0) -> Fraction:
        """Minutes of one batch that fills `units`: as recorded, or else by the policy."""
        if self.recorded is not None:
            return Fraction(self.recorded)
        return Fraction(self.minutes_per_batch) + Fraction(self.minutes_per_unit) * units

    def cost(self, units: int = 0) -> Decimal:
        """Cost of one batch that fills `units`, to six decimals."""
        return round_stored(self.minutes(units) * Fraction(self.hourly_rate) / 60)


@dataclass(frozen=True, slots=True)
class Overhead:
    """The maker's policy for overhead: a sum per batch and a share of what materials cost."""

    per_batch: Decimal = ZERO
    percent_of_materials: Decimal = ZERO

    def cost(self, materials: Decimal) -> Decimal:
        """Overhead of one batch whose materials cost `materials`, to six decimals."""
        share = Fraction(self.percent_of_materials) / 100 * Fraction(materials)
        return round_stored(Fraction(self.per_batch) + share)


@dataclass(frozen=True, slots=True)
class BatchCost:
    """The cost of one batch: inputs = the four before it, total = inputs - by_products -
    joint_products - abnormal.

    `total` is what the good output carries, `abnormal` is expensed, `by_products` is what came out
    beside it, at net realisable value, and `joint_products` what the other products of the batch
    carry of the joint cost. `per_kg` leaves the packaging out; `per_unit` carries everything and is
    None when nothing was filled.
    """

    materials: Decimal
    packaging: Decimal
    labour: Decimal
    overhead: Decimal
    inputs: Decimal
    by_products: Decimal
    joint_products: Decimal
    abnormal: Decimal
    total: Decimal
    per_kg: Decimal
    per_unit: Decimal | None


@dataclass(frozen=True, slots=True)
class BatchYield:
    """Yield and loss of one batch.

    `yield_percent` is output ÷ all mass weighed in, `plan_percent` output ÷ planned output.
    `expected_grams` is the normal loss on the mass weighed in; `actual_grams` leaves out what
    was declared abnormal, and is below zero when more came out than went in.
    """

    yield_percent: Decimal
    plan_percent: Decimal
    expected_grams: Decimal
    actual_grams: Decimal
    beyond_grams: Decimal


def batch_cost(
    *,
    materials: Decimal,
    packaging: Decimal = ZERO,
    labour: Decimal = ZERO,
    overhead: Decimal = ZERO,
    by_products: Decimal = ZERO,
    joint_products: Decimal = ZERO,
    output_grams: Decimal,
    declared_grams: Decimal = ZERO,
    units: int | None = None,
) -> BatchCost:
    """Cost of a batch with `output_grams` good and `declared_grams` lost beyond what is normal.

    abnormal = declared · (inputs - packaging - by-products - joint products) ÷ (output + declared):
    the declared loss costs what the same mass of good output costs, and packaging was not lost with
    it. Loss that is not declared is carried by the good output. By-products are deducted at net
    realisable value, joint products at their part of the joint cost (IAS 2, paragraph 14). Money
    comes in and goes out with six decimals. Raises QuantityNotPositive without good output, and
    Invalid for a declared loss below zero or for by-products that would bring more than all of it
    cost.
    """
    _check_masses(output_grams, declared_grams)
    if units is not None and units < 1:
        raise QuantityNotPositive(pointer="/units")
    inputs = materials + packaging + labour + overhead
    made = Fraction(output_grams) + Fraction(declared_grams)
    shared = inputs - packaging - by_products - joint_products
    _check_by_products(by_products, inputs - packaging, shared)
    abnormal = round_stored(Fraction(declared_grams) * Fraction(shared) / made)
    total = inputs - by_products - joint_products - abnormal
    return BatchCost(
        materials=materials,
        packaging=packaging,
        labour=labour,
        overhead=overhead,
        inputs=inputs,
        by_products=by_products,
        joint_products=joint_products,
        abnormal=abnormal,
        total=total,
        per_kg=unit_cost(total - packaging, output_grams, per=GRAMS_PER_KG),
        per_unit=None if units is None else unit_cost(total, Decimal(units)),
    )


def batch_yield(
    *,
    weighed_grams: Decimal,
    output_grams: Decimal,
    planned_output_grams: Decimal,
    process_loss_percent: Decimal = ZERO,
    declared_grams: Decimal = ZERO,
    by_product_grams: Decimal = ZERO,
    expected_loss_grams: Decimal | None = None,
) -> BatchYield:
    """Yield and loss of a batch; percents to six decimals.

    The loss to be expected is the process loss of all weighed in, unless it is given: that of an
    infusion goes by the solids that really went in. By-products are not lost.
    Raises QuantityNotPositive for nothing weighed in, planned or left, and Invalid for a
    declared loss below zero or a process loss that is not at least 0 and below 100 percent.
    """
    _check_masses(output_grams, declared_grams)
    for grams in (weighed_grams, planned_output_grams):
        if not (grams.is_finite() and grams > 0):
            raise QuantityNotPositive
    expected = expected_loss_grams
    if expected is None:
        normal = 1 - left_after_loss(process_loss_percent)
        expected = round_stored(Fraction(weighed_grams) * normal)
    actual = weighed_grams - output_grams - declared_grams - by_product_grams
    return BatchYield(
        yield_percent=_percent_of(output_grams, weighed_grams),
        plan_percent=_percent_of(output_grams, planned_output_grams),
        expected_grams=expected,
        actual_grams=actual,
        beyond_grams=max(ZERO, actual - expected),
    )


def bulk_part(value: Decimal, *, of_bulk: Fraction, returned: Fraction) -> tuple[Decimal, Decimal]:
    """What of the value of some units goes with the bulk, and what is lost, to six decimals.

    `of_bulk` is the bulk's share of what they cost, and `returned` the part of what was in them
    that came out again; more than all of it carries no more than all. Both sum to the value.
    """
    kept = round_stored(Fraction(value) * of_bulk * min(returned, Fraction(1)))
    return kept, value - kept


def shown(cost: BatchCost, currency: str) -> BatchCost:
    """The same cost at the minor unit of `currency`, still adding up in both its sums.

    Inputs are rounded half-even; the figures that make them up are each cut to the minor unit
    and the coins left over go to those that lost most, so that no figure moves by a whole coin.
    Unit costs keep their six decimals. Raises CurrencyUnknown.
    """
    inputs = round_money(cost.inputs, currency)
    step = minor_unit(currency)
    materials, packaging, labour, overhead = _round_to_sum(
        inputs, (cost.materials, cost.packaging, cost.labour, cost.overhead), step
    )
    total, by_products, joint_products, abnormal = _round_to_sum(
        inputs, (cost.total, cost.by_products, cost.joint_products, cost.abnormal), step
    )
    return replace(
        cost,
        materials=materials,
        packaging=packaging,
        labour=labour,
        overhead=overhead,
        inputs=inputs,
        by_products=by_products,
        joint_products=joint_products,
        abnormal=abnormal,
        total=total,
    )


def _round_to_sum(total: Decimal, figures: Sequence[Decimal], step: Decimal) -> list[Decimal]:
    """`figures` in whole steps that sum to `total`, which is their own sum rounded.

    The figures are amounts already, not weights, so each is cut as it stands: a split by
    weights would first stretch all of them to the rounded total.
    """
    exact = [Fraction(figure) / Fraction(step) for figure in figures]
    steps = [floor(figure) for figure in exact]
    missing = round(Fraction(total) / Fraction(step)) - sum(steps)
    by_remainder = sorted(range(len(exact)), key=lambda n: steps[n] - exact[n])
    for place in by_remainder[:missing]:
        steps[place] += 1
    return [count * step for count in steps]


def _percent_of(part: Decimal, whole: Decimal) -> Decimal:
    return round_stored(Fraction(part) * 100 / Fraction(whole))


def _check_by_products(by_products: Decimal, shareable: Decimal, left: Decimal) -> None:
    if by_products < 0 or left < 0:
        raise Invalid(
            Sentence(
                "By-products bring at most what went into the batch without packaging,"
                " {inputs:.2f}: what brings more is a product of its own.",
                inputs=shareable,
            ),
            pointer="/by_products",
        )


def _check_masses(output_grams: Decimal, declared_grams: Decimal) -> None:
    if not (output_grams.is_finite() and output_grams > 0):
        raise QuantityNotPositive(
            "A finished batch has some output: scrap the batch if nothing of it is good.",
            pointer="/output",
        )
    if not declared_grams.is_finite() or declared_grams < 0:
        raise Invalid("A declared loss is zero or more.", pointer="/abnormal_loss/quantity")
