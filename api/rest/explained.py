"""Figures that open to their working."""

from typing import Any

from rest_framework import serializers

from api.rest.fields import Body, plain
from formulas.explaining import Figure


class Explain(Body):
    explain = serializers.BooleanField(required=False, help_text="Add the working of the figures.")


def figure_json(figure: Figure) -> dict[str, Any]:
    """A figure, how it was reckoned and from what, down to the last part."""
    return {
        "name": figure.name,
        "amount": plain(figure.amount),
        "unit": figure.unit,
        "how": figure.how,
        "facts": dict(figure.facts),
        "parts": [figure_json(part) for part in figure.parts],
    }
