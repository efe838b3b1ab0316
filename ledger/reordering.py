"""When to order again: safety stock and reorder point from use, lead time and a service level.

Quantities are grams or pieces, times are days, spreads are standard deviations. Use and lead time
are taken as independent, and what is used during a lead time as normally distributed. Where use is
rare or uneven that is no more than a guide; `ledger/usage.py` says when.

Sources: Silver, Pyke, Peterson, Inventory Management and Production Planning and Scheduling, ch. 7
(from memory); the figures that the tests compare with name their own.
"""

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from statistics import NormalDist
from typing import Any, Final

from ledger.errors import Invalid

# They reckon in binary numbers, whatever they are given; what comes out is a decimal at once.
NORMAL: Final[Any] = NormalDist()
ROOT_OF_TWO: Final = Decimal(2).sqrt()
ROOT_OF_TWO_PI: Final = Decimal(str(math.tau)).sqrt()
# In grams or pieces.
LEAST_ABOVE: Final = Decimal(1)
# Beyond this a normal distribution promises what no stock can keep.
HIGHEST_LEVEL: Final = Decimal("0.9999")


@dataclass(frozen=True, slots=True)
class Use:
    """What is used in a day: the mean, and how far days lie from it."""

    mean: Decimal
    spread: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class LeadTime:
    """Days from an order until what came of it may be used: the mean, and its spread."""

    mean: Decimal
    spread: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class ReorderPoint:
    """The reorder point and what it is made of, in grams or pieces; `z` is a plain number."""

    z: Decimal
    lead_time_use: Decimal
    lead_time_spread: Decimal
    safety_stock: Decimal
    point: Decimal


@dataclass(frozen=True, slots=True)
class Reorder:
    """A material that is low: its point, what can be counted on, and up to where is ordered."""

    point: Decimal
    position: Decimal
    up_to: Decimal

    @property
    def quantity(self) -> Decimal:
        return self.up_to - self.position


def order_up_to(point: Decimal, weekly_use: Decimal) -> Decimal:
    """Up to where is ordered once a position is at or below its point: a week's use above it.

    Makers look over their orders once a week, so that what is used until the next look is bought
    too, in whole grams or pieces; at least one of them, since at the point itself it is still low.
    The rule (s, S) with a review each week; Silver, Pyke, Peterson ch. 7 (from memory).
    """
    return point + max(weekly_use.to_integral_value(ROUND_HALF_UP), LEAST_ABOVE)


def reorder(position: Decimal, *, point: Decimal, weekly_use: Decimal) -> Reorder | None:
    """What to order of a material at or below its point; None of one that is above it."""
    if position > point:
        return None
    return Reorder(point, position, order_up_to(point, weekly_use))


def quantile(service_level: Decimal) -> Decimal:
    """z of a standard normal distribution: the share `service_level` of it lies below.

    Raises Invalid outside 0.5 to 0.9999: below a half the safety stock would be negative.
    """
    if not (service_level.is_finite() and Decimal("0.5") <= service_level <= HIGHEST_LEVEL):
        raise Invalid(
            "Give a service level from 50 to 99.99 percent: the share of orders during which"
            " nothing runs out."
        )
    return Decimal(str(NORMAL.inv_cdf(service_level)))


def normal_loss(z: Decimal) -> Decimal:
    """L(z) = phi(z) - z (1 - Phi(z)): how many spreads of use are missed in the mean of a cycle."""
    density = (-z * z / 2).exp() / ROOT_OF_TWO_PI
    above = Decimal(str(math.erfc(z / ROOT_OF_TWO))) / 2
    return density - z * above


def fill_rate(z: Decimal, *, spread: Decimal, order: Decimal) -> Decimal:
    """The share of what is asked for that is there when orders of `order` are placed at z.

    1 - spread x L(z) / order. It is another promise than the share of cycles without a shortage,
    and usually a higher figure. Raises Invalid for an order that is not above zero.
    """
    if order <= 0:
        raise Invalid("Give the usual order as more than zero.")
    return 1 - spread * normal_loss(z) / order


def reorder_point(use: Use, lead_time: LeadTime, *, service_level: Decimal) -> ReorderPoint:
    """Order again once the position is at or below this.

    d L + z sqrt(L sd^2 + d^2 sL^2), with the spread of the lead time and not only that of use.
    Raises Invalid for a figure below zero and for a service level that cannot be kept.
    """
    if min(use.mean, use.spread, lead_time.mean, lead_time.spread) < 0:
        raise Invalid("Use, lead time and their spreads are zero or more.")
    z = quantile(service_level)
    during = use.mean * lead_time.mean
    variance = lead_time.mean * use.spread**2 + use.mean**2 * lead_time.spread**2
    spread = variance.sqrt()
    return ReorderPoint(
        z=z,
        lead_time_use=during,
        lead_time_spread=spread,
        safety_stock=z * spread,
        point=during + z * spread,
    )
