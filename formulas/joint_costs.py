"""What each of several products carries of a cost that they have in common. Pure.

Joint products come of one process, and none of them is a by-product. What it cost until they can
be told apart is split by a base that is stated and stays the same (IAS 2, paragraph 14): by their
mass, by what they fetch as they leave the process, or by what they will bring once they are
completed and sold (the three methods of the cost-accounting textbooks).

All quantities are in one measure, grams; money is in the co-op's currency, to six decimals.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from ledger.errors import Invalid
from ledger.money import round_together

ZERO = Decimal(0)
STORED = Decimal("0.000001")


class JointBase(StrEnum):
    """By what a joint cost is split. `sales_value` is that at the split, before further work."""

    MASS = "mass"
    SALES_VALUE = "sales_value"
    NRV = "net_realisable_value"


@dataclass(frozen=True, slots=True)
class JointOutput:
    """One of the products: its mass, what all of it fetches, what finishing and selling it costs.

    `lost` grams of it came out as well and were lost after; they bear their part like the rest.
    """

    quantity: Decimal
    sales_value: Decimal | None = None
    further_cost: Decimal = ZERO
    lost: Decimal = ZERO


def net_realisable_value(sales_value: Decimal, further_cost: Decimal) -> Decimal:
    """The price less the costs to complete and to sell (IAS 2, paragraph 6)."""
    return sales_value - further_cost


def split_joint_cost(
    cost: Decimal, outputs: Sequence[JointOutput], base: JointBase
) -> list[Decimal]:
    """`cost` in parts by the base, in the order of the outputs; they sum to it exactly.

    Largest remainder in the last stored place. Raises Invalid for an output without the figures
    that the base asks for, and for one that weighs or brings nothing: it has no part by that base.
    """
    weights = [weight_of(output, base) for output in outputs]
    together = sum(weights)
    return round_together([Fraction(cost) * one / together for one in weights], step=STORED)


def weight_of(output: JointOutput, base: JointBase) -> Fraction:
    """What stands for an output by the base, with what was lost of it after the split.

    Raises Invalid as the split does.
    """
    weight = Fraction(output.quantity)
    if base is not JointBase.MASS:
        weight = Fraction(_brings(output, base))
    if weight <= 0 or output.quantity <= 0:
        raise Invalid(
            "A joint product has a mass and brings something: what does not is a by-product."
        )
    return weight * (Fraction(output.quantity) + Fraction(output.lost)) / Fraction(output.quantity)


def _brings(output: JointOutput, base: JointBase) -> Decimal:
    if output.sales_value is None:
        raise Invalid("Say what all of it fetches, of each product, or split by mass.")
    if base is JointBase.SALES_VALUE:
        return output.sales_value
    return net_realisable_value(output.sales_value, output.further_cost)
