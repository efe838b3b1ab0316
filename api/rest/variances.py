"""Variances of finished batches against their standard costs."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import NOT_YET, Resource, Sent, reads
from api.paging import Paged, cursor_at, links, start_of
from api.rest.explained import Explain, figure_json
from api.rest.fields import Id, Shown, Text, plain, shortest
from formulas import comparing
from formulas.comparing import Compared, Judged, Summed
from formulas.models import Making
from formulas.variance_workings import working_of
from formulas.variances import (
    FORMULAS,
    USAGE,
    BatchVariances,
    Direction,
    InputVariance,
    Split,
)
from ledger.access import Actor

DIRECTIONS = [one.value for one in Direction]


class VarianceOut(serializers.Serializer[Any]):
    """To six decimals, so that variances add up exactly."""

    amount = Shown(help_text="Actual less standard: above zero it cost more.")
    direction = serializers.ChoiceField(DIRECTIONS)


class NamedVarianceOut(VarianceOut):
    how = Text(help_text="The formula.")


# "yield" is a word of the language, so it cannot be written as an attribute.
MaterialVariancesOut = type(
    "MaterialVariancesOut",
    (serializers.Serializer,),
    {
        "material": Id(),
        "name": Text(),
        "grams": Shown(help_text="That went in."),
        "standard_grams": Shown(help_text="For the output there was."),
        "actual": Shown(),
        "standard": Shown(help_text="For the output there was."),
        "price": VarianceOut(),
        "mix": VarianceOut(),
        "yield": VarianceOut(),
        "usage": VarianceOut(help_text="Mix and yield."),
        "total": VarianceOut(),
    },
)
MaterialsVariancesOut = type(
    "MaterialsVariancesOut",
    (serializers.Serializer,),
    {
        "grams": Shown(),
        "standard_grams": Shown(),
        "actual": Shown(),
        "standard": Shown(),
        "price": NamedVarianceOut(),
        "mix": NamedVarianceOut(),
        "yield": NamedVarianceOut(),
        "usage": NamedVarianceOut(),
        "total": VarianceOut(),
        "lines": MaterialVariancesOut(many=True),
    },
)


class PackagingVarianceOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    count = Shown(help_text="That was drawn.")
    standard_count = Shown()
    actual = Shown()
    standard = Shown()
    price = VarianceOut()
    usage = VarianceOut()
    total = VarianceOut()


class PackagingVariancesOut(serializers.Serializer[Any]):
    actual = Shown()
    standard = Shown()
    price = NamedVarianceOut()
    usage = NamedVarianceOut()
    total = VarianceOut()
    lines = PackagingVarianceOut(many=True)


class LabourVariancesOut(serializers.Serializer[Any]):
    actual = Shown()
    standard = Shown()
    minutes = Shown()
    standard_minutes = Shown()
    minutes_from = serializers.ChoiceField(
        ["recorded", "policy"], help_text="Whether the finish said what it took."
    )
    rate = NamedVarianceOut()
    efficiency = NamedVarianceOut()
    total = VarianceOut()


class OverheadVariancesOut(serializers.Serializer[Any]):
    actual = Shown()
    standard = Shown()
    rate = NamedVarianceOut()
    base = NamedVarianceOut()
    total = VarianceOut()


class JudgedBatchOut(serializers.Serializer[Any]):
    batch = Id()
    code = Text()
    formula = Id()
    version = serializers.IntegerField()
    product = Id(allow_null=True)
    finished_on = serializers.DateField()
    output_grams = Shown()
    units = serializers.IntegerField(allow_null=True)


class ToldVariancesOut(serializers.Serializer[Any]):
    """Variances that add up exactly."""

    actual = Shown(help_text="All that went in: materials, packaging, labour, overhead.")
    standard = Shown(help_text="What the output should have cost.")
    total = VarianceOut(help_text="Actual less standard: the sum of all variances.")
    materials = MaterialsVariancesOut()
    packaging = PackagingVariancesOut()
    labour = LabourVariancesOut()
    overhead = OverheadVariancesOut()
    working = serializers.DictField(required=False, help_text="With explain=1.")


class BatchVariancesOut(ToldVariancesOut, JudgedBatchOut):
    formula_standard = Id()
    product_standard = Id(allow_null=True)
    by_products = Shown(help_text="Of what went in, taken off by what came out beside it.")
    joint_products = Shown(help_text="Of what went in, carried by the batch's other products.")
    abnormal = Shown(help_text="Of what went in, expensed as abnormal loss.")
    carried = Shown(help_text="What the good output carries of it.")


VarianceHeadsOut = type(
    "VarianceHeadsOut",
    (serializers.Serializer,),
    {"total": VarianceOut(), **{name: VarianceOut(help_text=FORMULAS[name]) for name in FORMULAS}},
)


class VarianceRow(JudgedBatchOut):
    missing = Text(allow_blank=True, help_text="What had no standard on that day, if anything.")
    actual = Shown(allow_null=True, help_text="Null without a standard, as are the next two.")
    standard = Shown(allow_null=True)
    variances = VarianceHeadsOut(allow_null=True)


class VarianceSumOut(serializers.Serializer[Any]):
    batches = serializers.IntegerField()
    without_standard = serializers.IntegerField(help_text="Left out of the sums.")
    actual = Shown()
    standard = Shown()
    variances = VarianceHeadsOut()


class VariancePage(serializers.Serializer[Any]):
    results = VarianceRow(many=True)
    next = Text(allow_null=True)
    sum = VarianceSumOut(allow_null=True, help_text="Of the whole period; on its first page alone.")


VarianceQuery = type(
    "VarianceQuery",
    (Paged,),
    {
        # "from" is a word of the language, so it cannot be written as an attribute.
        "from": serializers.DateField(help_text="The first day of finishes."),
        "to": serializers.DateField(help_text="The last day; a year of days at most."),
        "formula": serializers.UUIDField(required=False),
        "product": serializers.UUIDField(required=False),
    },
)


def variance_json(amount: Decimal, how: str = "") -> dict[str, Any]:
    """A variance, what it means, and the formula where one is named."""
    told = {"amount": plain(amount), "direction": Direction.of(amount).value}
    return {**told, "how": how} if how else told


class BatchVarianceDetails(Resource):
    """Why a batch cost more or less than its standard."""

    @reads(Explain, BatchVariancesOut, conflict=NOT_YET)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> dict[str, Any]:
        """Compare a finished batch with the standard of the day when it was finished."""
        judged = comparing.variances_of(actor, batch=id)
        found = batch_variances_json(judged)
        if query.get("explain"):
            found["working"] = figure_json(working_of(actor, judged))
        return found


class Variances(Resource):
    """Variances of all batches of a period."""

    @reads(VarianceQuery, VariancePage)
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List the batches finished in a period with their variances, newest first, and the sum."""
        start, limit = start_of(self.request, query), query["limit"]
        subject = {name: query[name] for name in ("formula", "product") if name in query}
        rows = comparing.finished_between(actor, query["from"], query["to"], **subject)
        found = comparing.compare(actor, _page(rows, start, limit))
        more = len(found) > limit
        cursor = cursor_at(self.request, str(found[limit - 1].making.id)) if more else None
        body = {
            "results": [row_json(one) for one in found[:limit]],
            "next": cursor,
            "sum": None if start else sum_json(comparing.sum_of(actor, rows)),
        }
        return Sent(body, headers=links(self.request, cursor))


def _page(rows: Any, start: Any, limit: int) -> list[Making]:
    if start:
        rows = rows.filter(id__lt=start)
    return list(rows.order_by("-id")[: limit + 1])


def judged_json(compared: Compared) -> dict[str, Any]:
    batch, making = compared.making.batch, compared.making
    return {
        "batch": str(batch.id),
        "code": batch.code,
        "formula": str(batch.version.formula_id),
        "version": batch.version.number,
        "product": batch.product_id and str(batch.product_id),
        "finished_on": compared.on,
        "output_grams": plain(making.output_grams),
        "units": making.units,
    }


def batch_variances_json(judged: Judged) -> dict[str, Any]:
    compared, told = judged.compared, judged.variances
    making, product = compared.making, compared.product_standard
    return {
        **judged_json(compared),
        "formula_standard": str(compared.formula_standard and compared.formula_standard.id),
        "product_standard": product and str(product.id),
        "by_products": plain(making.by_product_value),
        "joint_products": plain(making.joint_value),
        "abnormal": plain(making.abnormal),
        "carried": plain(
            told.actual - making.by_product_value - making.joint_value - making.abnormal
        ),
        **told_json(told, judged.names, recorded=making.labour_minutes is not None),
    }


def told_json(told: BatchVariances, names: Mapping[str, str], *, recorded: bool) -> dict[str, Any]:
    """All variances with their lines; `recorded` says that the minutes were not the policy's."""
    return {
        "actual": plain(told.actual),
        "standard": plain(told.standard),
        "total": variance_json(told.total),
        "materials": {
            **_input_json(told.all_materials, named=True),
            "lines": [
                {"material": one.name, "name": names[one.name], **_input_json(one)}
                for one in told.materials
            ],
        },
        "packaging": {
            **_split_json(told.all_packaging, "packaging", "price", "usage"),
            "lines": [
                {"material": id, "name": names[id], **_packed_json(one)}
                for id, one in told.packaging.items()
            ],
        },
        "labour": {
            "minutes": shortest(told.labour.quantity),
            "standard_minutes": shortest(told.labour.wanted),
            "minutes_from": "recorded" if recorded else "policy",
            **_split_json(told.labour, "labour", "rate", "efficiency"),
        },
        "overhead": _split_json(told.overhead, "overhead", "rate", "base"),
    }


def _input_json(one: InputVariance, *, named: bool = False) -> dict[str, Any]:
    parts = {"price": one.price, "mix": one.mix, "yield": one.yielded}
    return {
        "grams": plain(one.quantity),
        "standard_grams": plain(one.wanted),
        "actual": plain(one.actual),
        "standard": plain(one.standard),
        **{name: variance_json(part, FORMULAS[name] * named) for name, part in parts.items()},
        "usage": variance_json(one.usage, USAGE * named),
        "total": variance_json(one.total),
    }


def _packed_json(one: Split) -> dict[str, Any]:
    return {
        "count": shortest(one.quantity),
        "standard_count": shortest(one.wanted),
        "actual": plain(one.actual),
        "standard": plain(one.standard),
        "price": variance_json(one.price),
        "usage": variance_json(one.usage),
        "total": variance_json(one.total),
    }


def _split_json(one: Split, of: str, price: str, usage: str) -> dict[str, Any]:
    return {
        "actual": plain(one.actual),
        "standard": plain(one.standard),
        price: variance_json(one.price, FORMULAS[f"{of}_{price}"]),
        usage: variance_json(one.usage, FORMULAS[f"{of}_{usage}"]),
        "total": variance_json(one.total),
    }


def row_json(compared: Compared) -> dict[str, Any]:
    told = compared.variances
    return {
        **judged_json(compared),
        "missing": compared.missing,
        "standard": plain(told.standard) if told else None,
        "actual": plain(told.actual) if told else None,
        "variances": heads_json(told.total, told.parts) if told else None,
    }


def heads_json(total: Decimal, parts: Mapping[str, Decimal]) -> dict[str, Any]:
    named = {name: variance_json(part) for name, part in parts.items()}
    return {"total": variance_json(total), **named}


def sum_json(summed: Summed) -> dict[str, Any]:
    return {
        "batches": summed.batches,
        "without_standard": summed.without_standard,
        "actual": plain(summed.actual),
        "standard": plain(summed.standard),
        "variances": heads_json(summed.actual - summed.standard, summed.parts),
    }
