"""How an addition to effect, heat and measurements are shown with a batch."""

from dataclasses import fields
from typing import Any

from rest_framework import serializers

from api.rest.fields import Shown, Text, plain, shortest
from api.rest.measurements import measurement_json, standing_json, window_json
from formulas.heat import Heat
from formulas.measurements import standing_of, standing_rows, windows_of
from formulas.models import Batch


class EffectOut(serializers.Serializer[Any]):
    """A line to effect after an addition."""

    added_grams = Shown()
    total_grams = Shown()
    mass_grams = Shown(help_text="All that is in the batch now.")
    share_percent = Shown(help_text="Of the mass in the batch now.")
    final_percent = Shown(help_text="Of the final mass, with what is still to be weighed in.")
    max_percent = Shown()
    headroom_grams = Shown(allow_null=True, help_text="What may still go in; null: no limit.")


def shown_of(figures: Any) -> dict[str, Any]:
    """A dataclass of decimals as it is shown."""
    return {one.name: plain(getattr(figures, one.name)) for one in fields(figures)}


class HeatOut(serializers.Serializer[Any]):
    """How hot the batch was when a line went in that heat harms."""

    celsius = Shown(allow_null=True, help_text="The last that was recorded.")
    max_celsius = Shown()
    note = Text(allow_blank=True)


def heat_json(heat: Heat) -> dict[str, Any]:
    return {
        "celsius": shortest(heat.celsius),
        "max_celsius": shortest(heat.max_celsius),
        "note": heat.note,
    }


def measured_json(batch: Batch) -> dict[str, Any]:
    """What was measured at a batch whose measurements and windows are at hand."""
    windows, rows = windows_of(batch.version), standing_rows(batch)
    return {
        "measurements": [
            measurement_json(row, windows)
            for row in sorted(rows, key=lambda row: (row.happened_at, row.id))
        ],
        "windows": [window_json(window) for window in windows.values()],
        "standing": standing_json(standing_of(rows, windows), windows),
    }
