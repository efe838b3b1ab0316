"""Infusions and extracts: what the spent solids keep back, what evaporates, and what comes out.

output = input - spent · (1 + retention) - evaporation

is a mass balance over the pot. That a drained botanical keeps 1 to 2 g of liquid per gram of it is
common practice, to be measured by each maker; nothing here assumes a figure. Retention is grams of
liquid per gram of spent solid; all masses are grams.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from formulas.composition import left_after_loss
from ledger.costing import round_stored
from ledger.errors import (
    Invalid,
    Sentence,
)

ZERO = Decimal(0)
MOST_RETENTION = Decimal(100)


@dataclass(frozen=True, slots=True)
class Infusion:
    """What a formula version says of its steeping; the evaporation is percent of all weighed in."""

    retention: Decimal
    evaporation_percent: Decimal = ZERO

    def marc_grams(self, spent_grams: Decimal) -> Decimal:
        """The marc to be expected of so much solid: itself, and what it keeps of the liquid."""
        return round_stored(Fraction(spent_grams) * (1 + Fraction(self.retention)))

    def evaporation_grams(self, input_grams: Decimal) -> Decimal:
        """What is to be expected to evaporate of so much weighed in."""
        return round_stored(Fraction(input_grams) * Fraction(self.evaporation_percent) / 100)

    def loss_grams(self, input_grams: Decimal, spent_grams: Decimal) -> Decimal:
        """The loss to be expected of what was really weighed in: never more than all of it."""
        loss = self.marc_grams(spent_grams) + self.evaporation_grams(input_grams)
        return min(input_grams, loss)


def process_loss(
    stated: Decimal | None, infusion: Infusion | None, spent: Sequence[tuple[str, Decimal]]
) -> Decimal:
    """The process loss of a version in percent: as stated, or as it follows of an infusion.

    `spent` are the spent lines, each with its place and its percent. Raises Invalid where both are
    said, for a spent line of what is no infusion, and as `loss_percent` does.
    """
    if infusion is not None:
        if stated is not None:
            raise Invalid(
                "The loss of an infusion follows from its spent lines, retention and evaporation:"
                " leave process_loss_percent out.",
                pointer="/process_loss_percent",
            )
        return loss_percent(infusion, sum((percent for _, percent in spent), ZERO))
    if spent:
        raise Invalid(
            "A spent line is of an infusion: give the formula's infusion with its retention.",
            pointer=spent[0][0],
        )
    loss = ZERO if stated is None else stated
    left_after_loss(loss)
    return loss


def loss_percent(infusion: Infusion, spent_percent: Decimal) -> Decimal:
    """The process loss that follows: spent percent · (1 + retention) + evaporation percent.

    Rounded half-even to six decimals, since that is how finely a version keeps it. Raises Invalid
    for figures that cannot be, for no spent line, and where nothing would come out.
    """
    if not 0 <= infusion.retention <= MOST_RETENTION:
        raise Invalid(
            Sentence(
                "A gram of solid keeps 0 to {most_retention} g of liquid.",
                most_retention=MOST_RETENTION,
            ),
            pointer="/infusion/retention",
        )
    if not 0 <= infusion.evaporation_percent < 100:
        raise Invalid(
            "Evaporation is at least 0 and below 100 percent of what is weighed in.",
            pointer="/infusion/evaporation_percent",
        )
    if not spent_percent > 0:
        raise Invalid(
            "An infusion has a line that is spent: say which by `spent: true`.",
            pointer="/infusion",
        )
    kept = Fraction(spent_percent) * (1 + Fraction(infusion.retention))
    loss = round_stored(kept + Fraction(infusion.evaporation_percent))
    if loss >= 100:
        raise Invalid(
            Sentence(
                "The solids would keep all of the liquid: {loss:f} % would be lost. Steep less"
                " in it, or measure the retention again.",
                loss=loss.normalize(),
            ),
            pointer="/infusion",
        )
    return loss


@dataclass(frozen=True, slots=True)
class Steeped:
    """What an infusion came to, beside what was to be expected of the same weighings.

    `evaporation_grams` is input - output - marc - what was set apart otherwise; without a weighed
    marc it is not known, nor is the retention. Below zero, more came out than went in.
    """

    input_grams: Decimal
    spent_grams: Decimal
    output_grams: Decimal
    marc_grams: Decimal | None
    evaporation_grams: Decimal | None
    retention: Decimal | None
    evaporation_percent: Decimal | None
    yield_percent: Decimal
    expected_marc_grams: Decimal
    expected_evaporation_grams: Decimal
    expected_output_grams: Decimal
    expected_yield_percent: Decimal


def steeped(
    infusion: Infusion,
    *,
    input_grams: Decimal,
    spent_grams: Decimal,
    output_grams: Decimal,
    marc_grams: Decimal | None,
    apart_grams: Decimal = ZERO,
) -> Steeped:
    """Reckon an infusion of `input_grams`, all weighed in with the solids among them.

    `apart_grams` went elsewhere by name: declared as an abnormal loss, or lots beside. The
    retention comes out as (marc - spent) ÷ spent, to six decimals, and is not known where nothing
    was spent.
    """
    evaporated = retention = evaporation_percent = None
    if marc_grams is not None:
        evaporated = input_grams - output_grams - marc_grams - apart_grams
        evaporation_percent = _percent(evaporated, input_grams)
        retention = retention_of(marc_grams, spent_grams)
    expected = input_grams - infusion.loss_grams(input_grams, spent_grams)
    return Steeped(
        input_grams=input_grams,
        spent_grams=spent_grams,
        output_grams=output_grams,
        marc_grams=marc_grams,
        evaporation_grams=evaporated,
        retention=retention,
        evaporation_percent=evaporation_percent,
        yield_percent=_percent(output_grams, input_grams),
        expected_marc_grams=infusion.marc_grams(spent_grams),
        expected_evaporation_grams=infusion.evaporation_grams(input_grams),
        expected_output_grams=expected,
        expected_yield_percent=_percent(expected, input_grams),
    )


def retention_of(marc_grams: Decimal, spent_grams: Decimal) -> Decimal | None:
    """Grams of liquid that a gram of solid kept: (marc - spent) ÷ spent; None of no solid."""
    if not spent_grams > 0:
        return None
    return round_stored(Fraction(marc_grams - spent_grams) / Fraction(spent_grams))


def _percent(part: Decimal, whole: Decimal) -> Decimal:
    return round_stored(Fraction(part) * 100 / Fraction(whole))
