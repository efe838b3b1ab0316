"""How a material is used, and when to order it again."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, reads, writes
from api.rest import examples
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    Id,
    QuantityField,
    Shown,
    Text,
    shortest,
)
from ledger.access import Actor
from ledger.quantities import kept_in
from ledger.reorder_advice import GivenUse, ReorderAdvice, advise_reorder
from ledger.reordering import LeadTime
from ledger.usage import Forecast, Pattern, Usage, describe, forecast
from ledger.usage_reading import PERIODS, UsageRead, read_usage

PATTERNS = [one.value for one in Pattern]
HUNDRED = Decimal(100)
FINEST = Decimal("0.000001")


class UsageQuery(Body):
    period = Choice(list(PERIODS), required=False, help_text="week if left out")
    periods = serializers.IntegerField(
        min_value=1, max_value=400, required=False, help_text="26 if left out"
    )
    ahead = serializers.IntegerField(
        min_value=1, max_value=52, required=False, help_text="Periods to forecast; 4 if left out."
    )
    level_percent = DecimalText(
        least="50", most="99", required=False, help_text="Of the interval; 80 if left out."
    )


class ForecastOut(serializers.Serializer[Any]):
    periods = serializers.IntegerField()
    expected = Shown()
    low = Shown()
    high = Shown()
    level_percent = Shown()
    tried = serializers.IntegerField(
        help_text="Past forecasts of the same make whose time has come."
    )
    held = serializers.IntegerField(help_text="Those of them that the use to come lay within.")


class UsageOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    unit = serializers.ChoiceField(["g", "each"])
    period = serializers.ChoiceField(list(PERIODS))
    first = serializers.DateField()
    last = serializers.DateField(help_text="Yesterday: today is not over.")
    series = serializers.ListField(child=Shown(), help_text="Use by period, the oldest first.")
    mean = Shown()
    spread = Shown(help_text="The sample standard deviation.")
    interval = Shown(allow_null=True, help_text="Periods from one use to the next, in the mean.")
    uneven = Shown(
        allow_null=True, help_text="Squared coefficient of variation of what was used at a time."
    )
    pattern = serializers.ChoiceField(
        PATTERNS, help_text="Rare from an interval of 1.32, uneven from 0.49."
    )
    forecast = ForecastOut()


class LeadTimeIn(Body):
    days = DecimalText(least="0", most="1000", help_text="From order to usable, in the mean.")
    spread_days = DecimalText(least="0", most="1000", required=False)


class GivenUseIn(Body):
    per_day = QuantityField()
    spread = QuantityField(required=False, help_text="The standard deviation from day to day.")


class ReorderIn(Body):
    service_level_percent = DecimalText(
        least="50", most="99.99", help_text="How many of a hundred orders nothing runs out during."
    )
    lead_time = LeadTimeIn(
        required=False, help_text="Measured by deliveries against orders if left out."
    )
    use = GivenUseIn(required=False, help_text="Measured over the last 26 weeks if left out.")
    usual_order = QuantityField(required=False)


class UseMeasuredOut(serializers.Serializer[Any]):
    first = serializers.DateField()
    last = serializers.DateField()
    pattern = serializers.ChoiceField(PATTERNS)


class DailyUseOut(serializers.Serializer[Any]):
    per_day = Shown()
    spread = Shown()
    measured = UseMeasuredOut(allow_null=True)


class PlanningLeadTimeOut(serializers.Serializer[Any]):
    days = Shown()
    spread_days = Shown()
    deliveries = serializers.IntegerField(
        allow_null=True, help_text="That it was measured by; null where it was said."
    )


class ReorderOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    unit = serializers.ChoiceField(["g", "each"])
    use = DailyUseOut()
    lead_time = PlanningLeadTimeOut()
    z = Shown()
    lead_time_use = Shown(help_text="In the mean, until an order may be used.")
    lead_time_spread = Shown()
    safety_stock = Shown()
    reorder_point = Shown(help_text="For PUT /watches/{material}.")
    fill_rate_percent = Shown(
        allow_null=True,
        help_text="Of what is asked for, with the usual order: another promise than the level.",
    )
    working = Text()


def _shown(value: Decimal | None) -> str | None:
    """To a millionth, the grain of the ledger."""
    return None if value is None else shortest(value.quantize(FINEST))


def usage_json(read: UsageRead, found: Usage, ahead: int, expected: Forecast) -> dict[str, Any]:
    return {
        "material": str(read.material.id),
        "name": read.material.name,
        "unit": kept_in(read.material.counted),
        "period": read.period,
        "first": read.first,
        "last": read.last,
        "series": [shortest(one) for one in read.series],
        "mean": _shown(found.mean),
        "spread": _shown(found.spread),
        "interval": _shown(found.interval),
        "uneven": _shown(found.uneven),
        "pattern": found.pattern.value,
        "forecast": {
            "periods": ahead,
            "expected": _shown(expected.expected),
            "low": _shown(expected.low),
            "high": _shown(expected.high),
            "level_percent": shortest(expected.level * HUNDRED),
            "tried": expected.tried,
            "held": expected.held,
        },
    }


def reorder_json(found: ReorderAdvice) -> dict[str, Any]:
    point, use, measured = found.point, found.use, found.measured
    return {
        "material": str(found.material.id),
        "name": found.material.name,
        "unit": kept_in(found.material.counted),
        "use": {
            "per_day": _shown(use.mean),
            "spread": _shown(use.spread),
            "measured": None
            if measured is None
            else {
                "first": measured.first,
                "last": measured.last,
                "pattern": measured.pattern.value,
            },
        },
        "lead_time": {
            "days": _shown(found.lead_time.mean),
            "spread_days": _shown(found.lead_time.spread),
            "deliveries": found.deliveries,
        },
        "z": _shown(point.z),
        "lead_time_use": _shown(point.lead_time_use),
        "lead_time_spread": _shown(point.lead_time_spread),
        "safety_stock": _shown(point.safety_stock),
        "reorder_point": _shown(point.point),
        "fill_rate_percent": _shown(found.fill_rate and found.fill_rate * HUNDRED),
        "working": _working(found),
    }


def _working(found: ReorderAdvice) -> str:
    use, point, lead = found.use, found.point, found.lead_time
    return (
        f"{_shown(use.mean)} x {_shown(lead.mean)}"
        f" + {_shown(point.z)} x sqrt({_shown(lead.mean)} x {_shown(use.spread)}^2"
        f" + {_shown(use.mean)}^2 x {_shown(lead.spread)}^2) = {_shown(point.point)}"
    )


class MaterialUsage(Resource):
    """The use of a material."""

    @reads(UsageQuery, UsageOut)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> dict[str, Any]:
        """What was used of a material, how evenly, and what that leads to expect."""
        read = read_usage(
            actor,
            material=id,
            period=query.get("period", "week"),
            periods=query.get("periods", 26),
            now=self.now,
        )
        ahead = query.get("ahead", 4)
        level = query.get("level_percent", Decimal(80)) / HUNDRED
        expected = forecast(read.series, ahead=ahead, level=level)
        return usage_json(read, describe(read.series), ahead, expected)


class ReorderPoints(Resource):
    """The reorder point of a material, worked out."""

    @writes(ReorderIn, ReorderOut, status=200, keyed=False, examples=examples.REORDER_POINT)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """At which position to order again; nothing is kept. A watch keeps the point."""
        lead = data.get("lead_time")
        found = advise_reorder(
            actor,
            material=id,
            service_level=data["service_level_percent"] / HUNDRED,
            lead_time=lead and LeadTime(lead["days"], lead.get("spread_days", Decimal(0))),
            use=GivenUse(**data["use"]) if "use" in data else None,
            usual_order=data.get("usual_order"),
            now=self.now,
        )
        return reorder_json(found)
