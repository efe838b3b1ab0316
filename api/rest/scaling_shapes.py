"""How a scaled formula is shown: its lines, and what it needs of every material."""

from typing import Any

from rest_framework import serializers

from api.rest.fields import Body, Id, QuantityField, Shown, Text, plain
from formulas import balances
from formulas.models import Line


class ScalingIn(Body):
    batch = QuantityField(required=False, help_text="All that is weighed in.")
    output = QuantityField(required=False, help_text="What is to be left after the loss.")
    on = serializers.DateField(required=False, help_text="What can be had on this day; today.")


class ScaledLineOut(serializers.Serializer[Any]):
    material = Id(required=False)
    formula = Id(required=False)
    name = Text()
    percent = Shown()
    grams = Shown()


class NeedOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    grams = Shown()
    millilitres = Shown(required=False)
    available = Shown()
    short = Shown()


class ScalingOut(serializers.Serializer[Any]):
    version = serializers.IntegerField()
    batch_grams = Shown()
    output_grams = Shown()
    lines = ScaledLineOut(many=True)
    materials = NeedOut(many=True)


def named(line: Line) -> dict[str, str]:
    """What a line names: a material or a formula."""
    if line.component is not None:
        return {"formula": str(line.component_id), "name": line.component.name}
    return {"material": str(line.material_id), "name": line.material.name}


def scaling_json(needs: balances.Needs) -> dict[str, Any]:
    lines = [
        {
            **named(one.line),
            "percent": plain(one.line.percent.normalize()),
            "grams": plain(one.grams),
        }
        for one in needs.lines
    ]
    return {
        "version": needs.version.number,
        "batch_grams": plain(needs.scaled.batch_grams),
        "output_grams": plain(needs.scaled.output_grams),
        "lines": lines,
        "materials": [_need_json(need) for need in needs.materials],
    }


def _need_json(need: balances.Need) -> dict[str, Any]:
    shown = {
        "material": str(need.material.id),
        "name": need.material.name,
        "grams": plain(need.quantity),
        "available": plain(need.available),
        "short": plain(need.short),
    }
    if need.millilitres is not None:
        shown["millilitres"] = plain(need.millilitres)
    return shown
