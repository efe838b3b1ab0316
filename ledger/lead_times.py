"""How long suppliers really take, from what was ordered and what came. Pure; times are in days."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from ledger.errors import Invalid
from ledger.reordering import LeadTime

# Fewer deliveries than this are told, and say too little to plan by (common practice).
LEAST_TO_PLAN_BY = 3


@dataclass(frozen=True, slots=True)
class Measured:
    """Of so many deliveries: the mean time and its spread, the shortest and the longest."""

    deliveries: int
    time: LeadTime
    shortest: int
    longest: int


def measured_lead_time(days: Sequence[int]) -> Measured | None:
    """The lead time that deliveries show, each with its days from the order until it came.

    The spread is the sample standard deviation; of a single delivery nobody knows it, and it is
    zero. None without a delivery. Raises Invalid for what came before it was ordered.
    """
    if not days:
        return None
    if min(days) < 0:
        raise Invalid("Goods cannot come before they are ordered.")
    count = len(days)
    mean = Decimal(sum(days)) / count
    spread = Decimal(0)
    if count > 1:
        apart = [one - mean for one in days]
        spread = (sum((one * one for one in apart), Decimal(0)) / (count - 1)).sqrt()
    return Measured(count, LeadTime(mean, spread), min(days), max(days))


def days_to_plan_by(measured: Measured | None, *stated: int | None) -> int | None:
    """Whole days: measured where enough deliveries tell, else the first that is stated, or None."""
    if measured is not None and measured.deliveries >= LEAST_TO_PLAN_BY:
        return int(measured.time.mean.to_integral_value(rounding=ROUND_CEILING))
    return next((one for one in stated if one is not None), None)
