"""How a deviation is sent, and which rules it overrode."""

from rest_framework import serializers

from api.rest.fields import Body, Text
from formulas.deviations import Rule


class Overrode(serializers.ListField):
    """The rules that a deviation overrode."""

    child = serializers.ChoiceField([rule.value for rule in Rule])


class DeviationIn(Body):
    reason = Text(max_length=400)
