"""How an addition to effect is shown."""

from dataclasses import fields
from typing import Any

from rest_framework import serializers

from api.rest.fields import Shown, plain


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
