"""What to order, worked out: the cheapest packs over all suppliers, and what to know beside it."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, writes
from api.rest import examples
from api.rest.fields import (
    Body,
    DecimalText,
    Flag,
    Id,
    QuantityField,
    Shown,
    Text,
    Whole,
    listed,
    plain,
    shortest,
)
from formulas.order_planning import GivenNeed, Limits, Ordering, plan_orders
from ledger.access import Actor
from ledger.models import Material
from ledger.money import round_money
from ledger.order_advice import LineAdvice, Step
from ledger.order_bills import PlanLine, SupplierOrder
from ledger.order_terms import MASS_IN_KG, Need
from ledger.quantities import kept_in, priced_per

MOST_NEEDS = 500
MOST_SUPPLIERS = 100
MOST_SECONDS = 10
FINEST = Decimal("0.000001")


class PlanNeedIn(Body):
    material = Id()
    quantity = QuantityField(help_text="What is missing.")
    use_per_month = QuantityField(
        required=False, help_text="Measured over the last half year if left out."
    )

    def to_internal_value(self, data: Any) -> GivenNeed:
        return GivenNeed(**super().to_internal_value(data))


class OrderPlanIn(Body):
    needs = listed(PlanNeedIn, least=1, most=MOST_NEEDS, required=False)
    until = serializers.DateField(
        required=False,
        help_text="Instead of needs: what batches planned up to this day lack.",
    )
    day = serializers.DateField(required=False, help_text="Whose prices; today if left out.")
    without = serializers.ListField(
        child=Id(), max_length=MOST_SUPPLIERS, required=False, help_text="Suppliers to leave out."
    )
    budget = DecimalText(least="0", required=False, help_text="The most that all may cost.")
    allow_expiring = Flag(required=False, help_text="Buy more than is used in time, where cheaper.")
    seconds = Whole(
        min_value=1,
        max_value=MOST_SECONDS,
        required=False,
        help_text="Then the best so far is told; 10 if left out.",
    )


class PlanNeedOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    unit = serializers.ChoiceField(["g", "each"])
    quantity = Shown()
    use_per_month = Shown(allow_null=True)
    in_store = Shown(help_text="May be used today, and is used first.")


class PlanLineOut(serializers.Serializer[Any]):
    offer = Id()
    material = Id()
    name = Text()
    article_code = Text()
    pack = Text(help_text="As it is offered.")
    packs = serializers.IntegerField()
    quantity = Shown()
    unit = serializers.ChoiceField(["g", "each"])
    price = Shown(help_text="Of one pack, when so many are bought.")
    amount = Shown()


class PlanOrderOut(serializers.Serializer[Any]):
    supplier = Id()
    name = Text()
    lines = PlanLineOut(many=True)
    goods = Shown()
    freight = Shown()
    cost = Shown()


class PlanStepOut(serializers.Serializer[Any]):
    packs = serializers.IntegerField()
    quantity = Shown()
    cost = Shown(help_text="Of the whole order of the supplier.")
    more = Shown(help_text="Than just the need.")
    extra = Shown(help_text="What that costs more; below zero where more costs less.")
    expiring = Shown(help_text="What of it is not used in time.")
    per_usable = Shown(
        allow_null=True, help_text="A kilogram or piece that is used in time, freight and all."
    )
    months = Shown(allow_null=True, help_text="How long it lasts.")


class PlanAdviceOut(serializers.Serializer[Any]):
    offer = Id()
    material = Id()
    name = Text()
    planned = serializers.IntegerField(help_text="Packs.")
    steps = PlanStepOut(many=True)
    best = PlanStepOut(allow_null=True, help_text="Cheaper to use than what is planned.")
    text = Text(allow_null=True, help_text="Such as: 12 kg more for 2.20.")


class OrderPlanOut(serializers.Serializer[Any]):
    day = serializers.DateField()
    currency = Text()
    needs = PlanNeedOut(many=True)
    orders = PlanOrderOut(many=True)
    cost = Shown()
    bound = Shown(help_text="No plan costs less.")
    gap_percent = Shown(help_text="The part of the cost that might still be saved.")
    proven = serializers.BooleanField(help_text="Whether there is no cheaper plan.")
    seconds = Shown(help_text="That finding it took.")
    line_by_line = Shown(
        help_text="Each material where a kilogram that is needed of it costs least."
    )
    saving = Shown(help_text="Against line by line; below zero only where that cannot be ordered.")
    apart = Shown(
        allow_null=True, help_text="Each material ordered by itself at its best, if that was told."
    )
    advice = PlanAdviceOut(many=True)
    working = Text()


class _Shower:
    """Shows a plan in the currency of its co-op."""

    def __init__(self, found: Ordering, currency: str) -> None:
        self.found, self.currency = found, currency
        self.materials: dict[Any, Material] = {one.id: one for one, _ in found.needs}

    def money(self, amount: Decimal) -> str:
        """To the coin, or as fine as a foreign price made it."""
        coins = round_money(amount, self.currency)
        return str(plain(coins)) if coins == amount else str(shortest(amount.quantize(FINEST)))

    def whole(self) -> dict[str, Any]:
        found, plan = self.found, self.found.plan
        return {
            "day": found.day,
            "currency": self.currency,
            "needs": [_need(material, need) for material, need in found.needs],
            "orders": [self.order(order) for order in plan.orders],
            "cost": self.money(plan.cost),
            "bound": self.money(plan.bound),
            "gap_percent": shortest((plan.gap * 100).quantize(FINEST)),
            "proven": plan.proven,
            "seconds": plain(plan.seconds),
            "line_by_line": self.money(found.line_by_line),
            "saving": self.money(found.saving),
            "apart": None if found.apart is None else self.money(found.apart),
            "advice": [self.advice(one) for one in found.advice],
            "working": self.working(),
        }

    def working(self) -> str:
        orders = self.found.plan.orders
        parts = [f"{self.money(one.goods)} + {self.money(one.freight)}" for one in orders]
        return f"{' + '.join(parts) or '0'} = {self.money(self.found.plan.cost)}"

    def order(self, order: SupplierOrder) -> dict[str, Any]:
        offer = self.found.offers[order.lines[0].offer.key]
        return {
            "supplier": str(order.supplier),
            "name": offer.supplier_name,
            "lines": [self.line(line) for line in order.lines],
            "goods": self.money(order.goods),
            "freight": self.money(order.freight),
            "cost": self.money(order.cost),
        }

    def line(self, line: PlanLine) -> dict[str, Any]:
        offer = self.found.offers[line.offer.key]
        material = self.materials[offer.material]
        return {
            "offer": str(offer.offer),
            "material": str(material.id),
            "name": material.name,
            "article_code": offer.article_code,
            "pack": offer.entered,
            "packs": line.packs,
            "quantity": shortest(line.quantity),
            "unit": kept_in(material.counted),
            "price": self.money(line.price),
            "amount": self.money(line.amount),
        }

    def advice(self, one: LineAdvice) -> dict[str, Any]:
        material = self.materials[one.offer.material]
        return {
            "offer": str(one.offer.key),
            "material": str(material.id),
            "name": material.name,
            "planned": one.planned,
            "steps": [self.step(step, material) for step in one.steps],
            "best": None if one.best is None else self.step(one.best, material),
            "text": None if one.best is None else self.told(one.best, material),
        }

    def told(self, step: Step, material: Material) -> str:
        more = step.more if material.counted else step.more / MASS_IN_KG
        paid = self.money(abs(step.extra))
        what = f"{paid} less" if step.extra < 0 else paid
        return f"{shortest(more)} {priced_per(material.counted)} more for {what}"

    def step(self, step: Step, material: Material) -> dict[str, Any]:
        each = step.per_usable
        if each is not None:
            each = round_money(each if material.counted else each * MASS_IN_KG, self.currency)
        months = None if step.months is None else step.months.quantize(Decimal("0.01"))
        return {
            "packs": step.packs,
            "quantity": shortest(step.quantity),
            "cost": self.money(step.cost),
            "more": shortest(step.more),
            "extra": self.money(step.extra),
            "expiring": shortest(step.expiring.quantize(FINEST)),
            "per_usable": plain(each),
            "months": plain(months),
        }


def _need(material: Material, need: Need) -> dict[str, Any]:
    use = need.use_per_month
    return {
        "material": str(material.id),
        "name": material.name,
        "unit": kept_in(material.counted),
        "quantity": shortest(need.quantity),
        "use_per_month": None if use is None else shortest(use.quantize(FINEST)),
        "in_store": shortest(need.in_store),
    }


class OrderPlans(Resource):
    """What to order."""

    @writes(OrderPlanIn, OrderPlanOut, status=200, keyed=False, examples=examples.ORDER_PLAN)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """The cheapest orders that cover all needs, proven or with their bound; nothing is kept."""
        limits = Limits(
            without=data.get("without", ()),
            budget=data.get("budget"),
            allow_expiring=data.get("allow_expiring", False),
            seconds=Decimal(data.get("seconds", MOST_SECONDS)),
        )
        found = plan_orders(
            actor,
            needs=data.get("needs"),
            until=data.get("until"),
            day=data.get("day"),
            limits=limits,
            now=self.now,
        )
        return _Shower(found, actor.currency).whole()
