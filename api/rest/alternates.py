"""How what may stand in for a line of a formula is sent and shown."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.rest.fields import Body, DecimalText, Id, Shown, Text, plain
from formulas.models import Line


class AlternateIn(Body):
    material = Id()
    active_percent = DecimalText(
        above="0", most="100", required=False, allow_null=True, help_text="Left out: one to one."
    )


class AlternateOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    active_percent = Shown(allow_null=True, help_text="Null: one to one.")


def percent_json(percent: Decimal | None) -> str | None:
    """A percent without trailing zeros."""
    return None if percent is None else plain(percent.normalize())


def alternates_json(line: Line) -> list[dict[str, Any]]:
    """The alternates of a line, which were fetched before in their turn."""
    return [
        {
            "material": str(one.material_id),
            "name": one.material.name,
            "active_percent": percent_json(one.active_percent),
        }
        for one in line.alternates.all()
    ]
