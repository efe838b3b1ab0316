"""How much of each line a batch needs: from the batch, from the output wanted, or from units.

Masses are grams. A batch for a wanted output is output ÷ (1 - loss): multiplying by
(1 + loss) makes too little. Lines are rounded to the step of the scale and sum to the batch
exactly.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from formulas.composition import Composed, Ingredient, left_after_loss
from formulas.errors import BatchTooSmall, OverMaximum
from ledger.costing import round_stored
from ledger.errors import DensityNotPositive, Invalid, QuantityNotPositive
from ledger.money import split_exactly

SCALE_STEP = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class ScaledLine:
    """One line of a batch, in grams to the step of the scale."""

    ingredient: Ingredient
    percent: Decimal
    grams: Decimal
    max_percent: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Scaled:
    """A batch: what is weighed in, what is expected out, and the lines that sum to the first."""

    batch_grams: Decimal
    output_grams: Decimal
    lines: tuple[ScaledLine, ...]


def scale_batch(
    lines: Sequence[Composed],
    batch_grams: Decimal,
    *,
    process_loss_percent: Decimal = Decimal(0),
    step: Decimal = SCALE_STEP,
) -> Scaled:
    """Lines for `batch_grams` weighed in, which is rounded to `step` first.

    Raises QuantityNotPositive, and BatchTooSmall when the batch or its balance line rounds to
    nothing.
    """
    _check_above_zero(batch_grams, "/batch")
    batch = to_step(Fraction(batch_grams), step)
    output = to_step(Fraction(batch) * left_after_loss(process_loss_percent), step)
    return Scaled(batch, output, scale_lines(lines, batch, step=step))


def scale_output(
    lines: Sequence[Composed],
    output_grams: Decimal,
    *,
    process_loss_percent: Decimal = Decimal(0),
    step: Decimal = SCALE_STEP,
) -> Scaled:
    """Lines for a batch of which `output_grams` are left: output ÷ (1 - loss), to `step`.

    Raises QuantityNotPositive, and BatchTooSmall as `scale_batch` does.
    """
    _check_above_zero(output_grams, "/output")
    batch = to_step(Fraction(output_grams) / left_after_loss(process_loss_percent), step)
    return Scaled(batch, output_grams, scale_lines(lines, batch, step=step))


def scale_units(
    lines: Sequence[Composed],
    units: int,
    fill_grams: Decimal,
    *,
    process_loss_percent: Decimal = Decimal(0),
    step: Decimal = SCALE_STEP,
) -> Scaled:
    """Lines for a batch that fills `units` containers with `fill_grams` each.

    Raises what `scale_output` raises.
    """
    if units < 1:
        raise QuantityNotPositive(pointer="/units")
    return scale_output(
        lines, fill_grams * units, process_loss_percent=process_loss_percent, step=step
    )


def fill_of_volume(
    nominal_ml: Decimal, density_g_per_ml: Decimal, overfill_percent: Decimal = Decimal(0)
) -> Decimal:
    """Grams to fill into one container: nominal mL · density · (1 + overfill), six decimals.

    Raises QuantityNotPositive, DensityNotPositive, and Invalid for an overfill below zero.
    """
    _check_above_zero(nominal_ml, "/fill/nominal")
    if not (density_g_per_ml.is_finite() and density_g_per_ml > 0):
        raise DensityNotPositive(pointer="/density")
    return _filled(Fraction(nominal_ml) * Fraction(density_g_per_ml), overfill_percent)


def fill_of_mass(nominal_grams: Decimal, overfill_percent: Decimal = Decimal(0)) -> Decimal:
    """Grams to fill into one container that is sold by mass: nominal · (1 + overfill).

    Raises QuantityNotPositive, and Invalid for an overfill below zero.
    """
    _check_above_zero(nominal_grams, "/fill/nominal")
    return _filled(Fraction(nominal_grams), overfill_percent)


def scale_lines(
    lines: Sequence[Composed], batch_grams: Decimal, *, step: Decimal = SCALE_STEP
) -> tuple[ScaledLine, ...]:
    """Grams of each line, to `step`; they sum to `batch_grams` exactly.

    The balance line takes what the rounded others leave; without one the batch is split by
    largest remainder. Raises BatchTooSmall when nothing would be left for the balance line.
    """
    if not batch_grams > 0:
        raise BatchTooSmall(batch_grams=batch_grams, step=step)
    if any(line.is_balance for line in lines):
        grams = _with_balance(lines, batch_grams, step)
    else:
        grams = split_exactly(batch_grams, [line.percent for line in lines], step=step)
    return tuple(
        ScaledLine(line.ingredient, line.percent, part, line.max_percent)
        for line, part in zip(lines, grams, strict=True)
    )


def most_to_effect(others_grams: Decimal, max_percent: Decimal) -> Decimal:
    """The most grams that may be added to `others_grams` for a final share of `max_percent`.

    x = max · others ÷ (1 - max), because what is added is part of the final mass too; cut to
    six decimals, never rounded up. Raises Invalid unless the maximum is above 0 and below 100.
    """
    if not max_percent.is_finite() or not 0 < max_percent < 100:
        raise Invalid("A maximum that limits an addition is above 0 and below 100 percent.")
    share = Fraction(max_percent) / 100
    most = share * Fraction(others_grams) / (1 - share)
    return Decimal(int(most * 10**6)).scaleb(-6)


def check_maximum(added_grams: Decimal, others_grams: Decimal, max_percent: Decimal) -> None:
    """Refuse `added_grams` beside `others_grams` when it passes `max_percent` of the sum.

    Raises OverMaximum, saying the percent that would come of it.
    """
    final = Fraction(added_grams) + Fraction(others_grams)
    if Fraction(added_grams) * 100 > Fraction(max_percent) * final:
        percent = round_stored(Fraction(added_grams) * 100 / final)
        raise OverMaximum(percent=percent, max_percent=max_percent)


def _with_balance(lines: Sequence[Composed], batch_grams: Decimal, step: Decimal) -> list[Decimal]:
    batch = Fraction(batch_grams)
    grams = [to_step(batch * Fraction(line.percent) / 100, step) for line in lines]
    place = next(place for place, line in enumerate(lines) if line.is_balance)
    grams[place] += batch_grams - sum(grams)
    if not grams[place] > 0:
        raise BatchTooSmall(batch_grams=batch_grams, step=step)
    return grams


def _filled(nominal_grams: Fraction, overfill_percent: Decimal) -> Decimal:
    if not overfill_percent.is_finite() or overfill_percent < 0:
        raise Invalid("An overfill is 0 percent or more.", pointer="/fill/overfill_percent")
    return round_stored(nominal_grams * (1 + Fraction(overfill_percent) / 100))


def to_step(exact: Fraction, step: Decimal = SCALE_STEP) -> Decimal:
    """The nearest whole number of steps of the scale, a tie to the even one (round() does so)."""
    return round(exact / Fraction(step)) * step


def _check_above_zero(grams: Decimal, pointer: str) -> None:
    if not (grams.is_finite() and grams > 0):
        raise QuantityNotPositive(pointer=pointer)
