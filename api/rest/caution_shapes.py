"""How the cautions of a step are shown."""

from collections.abc import Iterable
from typing import Any

from rest_framework import serializers

from api.rest.fields import Text
from formulas.cautions import Caution


class StepCautionOut(serializers.Serializer[Any]):
    """A short caution: what to do, why, and whom to ask. It decides nothing."""

    code = Text()
    text = Text()
    reason = Text()
    ask = Text()
    about = serializers.ListField(child=Text())


def cautions_json(cautions: Iterable[Caution]) -> list[dict[str, Any]]:
    return [
        {
            "code": one.code,
            "text": one.text,
            "reason": one.reason,
            "ask": one.ask,
            "about": list(one.about),
        }
        for one in cautions
    ]
