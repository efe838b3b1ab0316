"""How an infusion is sent and shown: with its formula, at planning, and as it was made."""

from typing import Any

from rest_framework import serializers

from api.rest.effect_shapes import shown_of
from api.rest.fields import Body, DecimalText, Shown, Text, plain, shortest
from formulas.infusing import MOST_RETENTION, Infusion
from formulas.learning import Learned, Spread
from formulas.models import Batch, FormulaVersion, Making
from formulas.recipes import infusion_of
from formulas.reconciling import places_of
from formulas.steeping import learned_retention, steeped_of


class InfusionIn(Body):
    """What the spent lines keep back, and what evaporates; the process loss follows."""

    retention = DecimalText(
        least="0",
        most=f"{MOST_RETENTION}",
        help_text="Grams of liquid kept by a gram of spent solid; often 1 to 2, to be measured.",
    )
    evaporation_percent = DecimalText(
        least="0", most="99.999999", required=False, help_text="Of all that is weighed in."
    )


class InfusionOut(serializers.Serializer[Any]):
    retention = Shown(help_text="Grams of liquid kept by a gram of spent solid.")
    evaporation_percent = Shown(help_text="Of all that is weighed in.")


class LearnedRetentionOut(serializers.Serializer[Any]):
    """What other finished batches of the formula kept, in grams of liquid per gram of solid."""

    batches = serializers.IntegerField()
    median = Shown()
    spread = serializers.ChoiceField([one.value for one in Spread])
    low = Shown()
    high = Shown()


class PlannedInfusionOut(InfusionOut):
    learned_retention = LearnedRetentionOut(
        allow_null=True, help_text="From the batches whose marc was weighed."
    )


class SteepedOut(serializers.Serializer[Any]):
    """What an infusion came to; what only the marc tells is null until it is weighed."""

    input_grams = Shown()
    spent_grams = Shown(help_text="Solid that went in.")
    marc_grams = Shown(allow_null=True)
    evaporation_grams = Shown(
        allow_null=True,
        help_text="input - output - what came out beside - marc - declared loss",
    )
    output_grams = Shown()
    retention = Shown(allow_null=True, help_text="Measured: (marc - spent) ÷ spent.")
    evaporation_percent = Shown(allow_null=True)
    yield_percent = Shown()
    expected_marc_grams = Shown(help_text="spent · (1 + retention of the formula)")
    expected_evaporation_grams = Shown()
    expected_output_grams = Shown()
    expected_yield_percent = Shown()


class MassPlaceOut(serializers.Serializer[Any]):
    place = Text()
    grams = Shown()


class MassBalanceOut(serializers.Serializer[Any]):
    """Where all that was weighed in is; the places sum to the input."""

    input_grams = Shown()
    places = MassPlaceOut(many=True)


def infusion_json(version: FormulaVersion) -> dict[str, Any] | None:
    infusion = infusion_of(version)
    if infusion is None:
        return None
    return {
        "retention": shortest(infusion.retention),
        "evaporation_percent": shortest(infusion.evaporation_percent),
    }


def planned_infusion_json(batch: Batch) -> dict[str, Any] | None:
    """What the batch's version says of its steeping, and what past batches teach."""
    shown = infusion_json(batch.version)
    return shown and {**shown, "learned_retention": _learned_json(learned_retention(batch))}


def steeped_json(making: Making, version: FormulaVersion) -> dict[str, Any] | None:
    found = steeped_of(making, version)
    return None if found is None else shown_of(found)


def mass_balance_json(making: Making) -> dict[str, Any]:
    places = places_of(
        input_grams=making.weighed_grams,
        output_grams=making.output_grams,
        by_product_grams=making.by_product_grams,
        joint_grams=making.joint_grams,
        abnormal_grams=making.declared_grams,
        is_infusion=making.spent_grams is not None,
        marc_grams=making.marc_grams,
    )
    return {
        "input_grams": plain(making.weighed_grams),
        "places": [{"place": place, "grams": plain(grams)} for place, grams in places],
    }


def infusion_in(data: dict[str, Any]) -> Infusion | None:
    """An infusion as it was sent."""
    sent = data.get("infusion")
    return Infusion(**sent) if sent else None


def _learned_json(learned: Learned | None) -> dict[str, Any] | None:
    if learned is None:
        return None
    return {
        "batches": learned.batches,
        "median": shortest(learned.median),
        "spread": learned.spread.value,
        "low": shortest(learned.low),
        "high": shortest(learned.high),
    }
