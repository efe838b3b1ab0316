"""What a batch that failed cost: what is kept for rework, and what is expensed.

Normal loss raises the cost of what should have come out (process costing in the textbooks), and
abnormal waste is an expense of the period (IAS 2, paragraph 16(a)). What is kept is worth no more
than it will bring (IAS 2, paragraph 9). No consumed input comes back.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from formulas.composition import left_after_loss
from ledger.costing import round_stored, unit_cost
from ledger.money import split_exactly

ZERO = Decimal(0)
STORED = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class ScrapCost:
    """`kept` and `abnormal` are the whole cost; `per_kg` is what a good kilogram would have cost.

    `lost_grams` leaves out the normal loss and what is kept.
    """

    per_kg: Decimal
    kept: Decimal
    abnormal: Decimal
    lost_grams: Decimal


def scrap_cost(
    cost: Decimal,
    *,
    weighed_grams: Decimal,
    process_loss_percent: Decimal,
    kept_grams: Decimal = ZERO,
    nrv: Decimal | None = None,
) -> ScrapCost:
    """Split what a failed batch cost, to six decimals; `nrv` is what all that is kept will bring.

    A good kilogram costs cost ÷ (weighed · (1 - normal loss)); where more than that is kept, by
    what is kept. Raises Invalid for a loss that is not at least 0 and below 100 percent.
    """
    expected = round_stored(Fraction(weighed_grams) * left_after_loss(process_loss_percent))
    good = max(expected, kept_grams, STORED)
    kept = round_stored(Fraction(cost) * Fraction(kept_grams) / Fraction(good))
    if nrv is not None:
        kept = min(kept, nrv)
    per_kg = unit_cost(cost, good, per=Decimal(1000))
    return ScrapCost(per_kg, kept, cost - kept, good - kept_grams)


def parts_of(quantities: Sequence[Decimal], wanted: Decimal) -> list[Decimal]:
    """`wanted` grams of a mixture as grams of what is in it, none more than is there.

    By largest remainder in the last stored place, so that the parts sum to what is wanted.
    """
    return split_exactly(wanted, quantities, step=STORED)
