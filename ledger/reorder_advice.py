"""At which position to order again, from what was used or from what the maker says."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.access import Actor, day_of, material_for
from ledger.errors import (
    Conflict,
    Invalid,
    Sentence,
    placed,
)
from ledger.lead_time_reading import lead_time_for
from ledger.lead_times import LEAST_TO_PLAN_BY
from ledger.measuring import measure
from ledger.models import Material
from ledger.quantities import Quantity
from ledger.reordering import LeadTime, ReorderPoint, Use, fill_rate, reorder_point
from ledger.roles import Verb
from ledger.usage import Pattern, describe
from ledger.usage_reading import PERIODS, read_usage

# Half a year of weeks: long enough for a spread, short enough to be about now.
WEEKS: Final = 26
# Fewer weeks say next to nothing of the spread.
LEAST_WEEKS: Final = 4


@dataclass(frozen=True, slots=True)
class GivenUse:
    """Use of a day as the maker tells it, in any unit of the material."""

    per_day: Quantity
    spread: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Measured:
    """Which days the use was measured in, and how it is made up."""

    first: date
    last: date
    pattern: Pattern


@dataclass(frozen=True, slots=True)
class ReorderAdvice:
    """The point, what it came from, and the share of use that is met with a usual order.

    `deliveries` is how many the lead time was measured by; None where it was said.
    """

    material: Material
    use: Use
    measured: Measured | None
    lead_time: LeadTime
    deliveries: int | None
    point: ReorderPoint
    fill_rate: Decimal | None


def advise_reorder(
    actor: Actor,
    *,
    material: UUID | str,
    service_level: Decimal,
    now: datetime,
    lead_time: LeadTime | None = None,
    use: GivenUse | None = None,
    usual_order: Quantity | None = None,
) -> ReorderAdvice:
    """The reorder point for a service level between 0.5 and 0.9999; nothing is kept.

    Without `use`, that of the last 26 weeks; without `lead_time`, what deliveries of two years
    tell. Raises NotFound, Invalid, Conflict where too little was used or delivered to tell, and
    what turning a quantity into grams or pieces raises.
    """
    actor.must(Verb.READ)
    found = material_for(actor, material)
    if not found.stocked:
        raise Invalid(
            Sentence("{name} is not stocked, so it is not ordered again.", name=found.name)
        )
    measured = None
    if use is None:
        told, measured = _measured(actor, found, now)
    else:
        told = _told(use, found)
    deliveries = None
    if lead_time is None:
        lead_time, deliveries = _measured_lead(actor, found, now)
    with placed("/service_level_percent"):
        point = reorder_point(told, lead_time, service_level=service_level)
    rate = None
    if usual_order is not None:
        with placed("/usual_order"):
            order = measure(usual_order, found).quantity
            rate = fill_rate(point.z, spread=point.lead_time_spread, order=order)
    return ReorderAdvice(found, told, measured, lead_time, deliveries, point, rate)


def _measured_lead(actor: Actor, material: Material, now: datetime) -> tuple[LeadTime, int]:
    """What deliveries tell of the lead time, and how many they are."""
    found = lead_time_for(actor, material.id, day=day_of(actor, now))
    if found is None or found.deliveries < LEAST_TO_PLAN_BY:
        raise Conflict(
            Sentence(
                "Too little of {material} has come by orders to tell how long it takes: fewer"
                " than {least_to_plan_by} deliveries. Say how many days it takes.",
                material=material.name,
                least_to_plan_by=LEAST_TO_PLAN_BY,
            )
        )
    return found.time, found.deliveries


def _told(use: GivenUse, material: Material) -> Use:
    with placed("/use/per_day"):
        mean = measure(use.per_day, material).quantity
    if use.spread is None:
        return Use(mean)
    with placed("/use/spread"):
        return Use(mean, measure(use.spread, material).quantity)


def _measured(actor: Actor, material: Material, now: datetime) -> tuple[Use, Measured]:
    """Use of a day from whole weeks: makers work by the week, and days of one are not alike."""
    read = read_usage(actor, material=material.id, period="week", periods=WEEKS, now=now)
    weeks = describe(read.series)
    if weeks.pattern is Pattern.NONE or weeks.periods < LEAST_WEEKS:
        raise Conflict(
            Sentence(
                "Too little of {material} has been used to tell: fewer than {least_weeks} weeks."
                " Say what is used in a day as use.",
                material=material.name,
                least_weeks=LEAST_WEEKS,
            )
        )
    days = PERIODS["week"]
    use = Use(weeks.mean / days, weeks.spread / Decimal(days).sqrt())
    return use, Measured(read.first, read.last, weeks.pattern)
