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
from formulas.order_needs import GivenNeed
from formulas.order_planning import Limits, Ordering, plan_orders
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
    by = serializers.DateField(
        required=False,
        help_text="The day on which it must be there: what is known to come later is not ordered.",
    )

    def to_internal_value(self, data: Any) -> GivenNeed:
        return GivenNeed(**super().to_internal_value(data))


class OrderPlanIn(Body):
    needs = listed(PlanNeedIn, least=1, most=MOST_NEEDS, required=False)
    until = serializers.DateField(
        required=False,
        help_text="Instead of needs: what batches planned up to this day lack, and what lifts"
        " whatever is low above its watched point.",
    )
    only = serializers.ListField(
        child=Id(),
        min_length=1,
        max_length=MOST_NEEDS,
        required=False,
        help_text="Of these alone.",
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
    reorder_point = Shown(
        allow_null=True,
        help_text="Of what is at or below it: then the quantity lifts it to order_up_to at least.",
    )
    order_up_to = Shown(allow_null=True, help_text="The point and a week's use above it.")


class NotOfferedOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()


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
    more_than_planned = Shown(help_text="Below zero where it is less.")
    extra_than_planned = Shown(
        help_text="What the supplier's order costs more than as planned; below zero where less."
    )
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
    text = Text(allow_null=True, help_text="Than just the need, such as: 12 kg more for 2.20.")
    instead = Text(
        allow_null=True,
        help_text="Than what is planned, such as: 50 kg for 205.00 instead of 44 kg for 202.40:"
        " 6 kg more than planned for 2.60 more.",
    )


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
    not_offered = NotOfferedOut(
        many=True, help_text="Low, and left out: no batch lacks it and nobody asked offers it."
    )
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
            "needs": [self.need(material, need) for material, need in found.needs],
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
            "not_offered": [
                {"material": str(one.id), "name": one.name} for one in found.not_offered
            ],
            "working": self.working(),
        }

    def need(self, material: Material, need: Need) -> dict[str, Any]:
        low = self.found.low.get(material.id)
        return {
            "material": str(material.id),
            "name": material.name,
            "unit": kept_in(material.counted),
            "quantity": _fine(need.quantity),
            "use_per_month": _fine(need.use_per_month),
            "in_store": shortest(need.in_store),
            "reorder_point": None if low is None else _fine(low.point),
            "order_up_to": None if low is None else _fine(low.up_to),
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
            "steps": [self.step(step, one, material) for step in one.steps],
            "best": None if one.best is None else self.step(one.best, one, material),
            "text": None if one.best is None else self.told(one.best, material),
            "instead": None if one.best is None else self.instead(one.best, one, material),
        }

    def told(self, step: Step, material: Material) -> str:
        paid = self.money(abs(step.extra))
        what = f"{paid} less" if step.extra < 0 else paid
        return f"{_amount(step.more, material)} more for {what}"

    def instead(self, step: Step, one: LineAdvice, material: Material) -> str:
        planned = one.as_planned
        more, extra = step.quantity - planned.quantity, step.cost - planned.cost
        much = f"{_amount(abs(more), material)} {'less' if more < 0 else 'more'} than planned"
        return (
            f"{_amount(step.quantity, material)} for {self.money(step.cost)}"
            f" instead of {_amount(planned.quantity, material)} for {self.money(planned.cost)}:"
            f" {much} for {self.money(abs(extra))} {'less' if extra < 0 else 'more'}"
        )

    def step(self, step: Step, one: LineAdvice, material: Material) -> dict[str, Any]:
        planned = one.as_planned
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
            "more_than_planned": shortest(step.quantity - planned.quantity),
            "extra_than_planned": self.money(step.cost - planned.cost),
            "expiring": shortest(step.expiring.quantize(FINEST)),
            "per_usable": plain(each),
            "months": plain(months),
        }


def _amount(quantity: Decimal, material: Material) -> str:
    """So many kilograms or pieces, in words."""
    shown = quantity if material.counted else quantity / MASS_IN_KG
    return f"{shortest(shown)} {priced_per(material.counted)}"


def _fine(value: Decimal | None) -> str | None:
    return None if value is None else shortest(value.quantize(FINEST))


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
            only=data.get("only"),
            limits=limits,
            now=self.now,
        )
        return _Shower(found, actor.currency).whole()
