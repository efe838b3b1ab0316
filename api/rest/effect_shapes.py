"""How an addition to effect, heat, an older lot and measurements are shown with a batch."""

from dataclasses import fields
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.rest.fields import Id, Moment, Shown, Text, plain, shortest
from api.rest.measurements import measurement_json, standing_json, window_json
from formulas.earlier_lots import EarlierLot
from formulas.effect import Pot, headroom, share_of, typical_grams
from formulas.enough import word_of
from formulas.heat import Heat
from formulas.learning import Learned, Spread
from formulas.measurements import standing_of, standing_rows, windows_of
from formulas.models import Batch, BatchLine, Enough
from formulas.scaling import SCALE_STEP


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


class LearnedOut(serializers.Serializer[Any]):
    """What other finished batches of the formula came to, in percent of the final mass."""

    batches = serializers.IntegerField()
    median_percent = Shown()
    spread = serializers.ChoiceField([one.value for one in Spread])
    low_percent = Shown()
    high_percent = Shown()
    median_grams = Shown(help_text="What makes the median's share of this batch.")


def learned_json(learned: Learned, others: Decimal) -> dict[str, Any]:
    """`others` is the final mass of all that stands beside the line, in grams."""
    grams = typical_grams(others, learned.median)
    return {
        "batches": learned.batches,
        "median_percent": shortest(learned.median),
        "spread": learned.spread.value,
        "low_percent": shortest(learned.low),
        "high_percent": shortest(learned.high),
        "median_grams": plain(grams.quantize(SCALE_STEP)),
    }


class EnoughOut(serializers.Serializer[Any]):
    """Somebody's word that what is in of a line to effect is enough."""

    id = Id()
    grams = Shown(help_text="What was in by then.")
    said_at = Moment()
    person = Id()


def enough_json(word: Enough) -> dict[str, Any]:
    return {
        "id": str(word.id),
        "grams": plain(word.grams),
        "said_at": word.said_at,
        "person": str(word.person_id),
    }


class InPotOut(serializers.Serializer[Any]):
    """How a line of a batch stands in the pot."""

    weighed = Shown()
    share_percent = Shown(help_text="What was weighed, of all that is in the batch now.")
    headroom_grams = Shown(allow_null=True, help_text="Of a to-effect line: what may still go in.")
    learned = LearnedOut(allow_null=True, help_text="Of a to-effect line: what it came to before.")
    enough = EnoughOut(allow_null=True, help_text="Null once more of it goes in, or less is in.")


def in_pot_json(line: BatchLine, pot: Pot, taught: Learned | None) -> dict[str, Any]:
    most = line.max_percent
    left = None if most is None else headroom(pot.others_final, pot.own, most)
    word = word_of(line, pot.own)
    return {
        "weighed": plain(pot.own),
        "share_percent": plain(share_of(pot.own, pot.others_now + pot.own)),
        "headroom_grams": plain(left),
        "learned": taught and most and learned_json(taught, pot.others_final),
        "enough": word and enough_json(word),
    }


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


class EarlierLotOut(serializers.Serializer[Any]):
    """A lot that was to go first, as it goes out of date first or came first."""

    id = Id()
    code = Text()
    last_day = serializers.DateField(allow_null=True, help_text="On which it may be used.")


def earlier_json(lot: EarlierLot) -> dict[str, Any]:
    return {"id": str(lot.id), "code": lot.code, "last_day": lot.last_day}


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
