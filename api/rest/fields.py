"""Quantities, percents and money as strings; ids as strings; nothing unknown."""

import re
from collections.abc import Callable
from datetime import datetime, time
from decimal import Decimal, InvalidOperation
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.fields import empty

from ledger.errors import Refusal
from ledger.quantities import Density, Quantity, parse_density, parse_quantity, parse_temperature

DECIMAL = {"type": "string", "pattern": r"^-?\d+(\.\d+)?$"}


class Body(serializers.Serializer[Any]):
    """What a request sends. A field that is not known is refused, since it would be ignored."""

    default_error_messages = {  # noqa: RUF012
        "invalid": 'Send an object: names with their values in braces, such as {{"reason": "…"}}.'
    }

    def run_validation(self, data: Any = empty) -> Any:
        if isinstance(data, dict):
            unknown = [name for name in data if name not in self.fields]
            if unknown:
                known = ", ".join(self.fields) or "none"
                raise serializers.ValidationError(
                    {
                        name: [
                            serializers.ErrorDetail(
                                f"There is no such field here; there are: {known}.",
                                "unknown_field",
                            )
                        ]
                        for name in unknown
                    }
                )
        return super().run_validation(data)


def _read(parse: Callable[[Any], Any], value: Any) -> Any:
    try:
        return parse(value)
    except Refusal as refusal:
        raise serializers.ValidationError(refusal.detail, code=refusal.code) from refusal


class Text(serializers.CharField):
    """A text; numbers and truth values are not quietly turned into one.

    It is as long as it was sent: white space around it is taken off only then.
    """

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise serializers.ValidationError("Send a text in quotes.", code="not_a_text")
        if self.max_length is not None and len(data) > self.max_length:
            self.fail("max_length", max_length=self.max_length)
        return super().to_internal_value(data)


class MailAddress(serializers.EmailField):
    """A mail address in ASCII: what a mail server between here and there may not know is refused.

    Its pattern is left out of the document, which has the format.
    """

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=254, **options)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or not (data.isascii() and data.isprintable()):
            raise serializers.ValidationError(
                'Send a mail address, such as "orders@example.org".', code="invalid"
            )
        return str(super().to_internal_value(data))


class Choice(serializers.ChoiceField):
    """One of a few words; whoever sends another is told which there are."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or data not in self.choices:
            named = ", ".join(str(choice) for choice in self.choices)
            raise serializers.ValidationError(f"Send one of: {named}.", code="invalid_choice")
        return data


class Whole(serializers.IntegerField):
    """A whole number as JSON has it, without quotes."""

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int):
            raise serializers.ValidationError(
                "Send a whole number, without quotes.", code="not_a_number"
            )
        return super().to_internal_value(data)


class Flag(serializers.BooleanField):
    """true or false as JSON has it, without quotes."""

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            raise serializers.ValidationError(
                "Send true or false, without quotes.", code="not_a_flag"
            )
        return data


class Id(Text):
    """An id; whether it is there and yours is found out by whoever looks for it."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=64, **options)


@extend_schema_field({"type": "string", "maxLength": 64, "examples": ["4 gal", "2.5 kg"]})
class QuantityField(serializers.Field):  # type: ignore[type-arg]
    """A quantity as people type it."""

    def to_internal_value(self, data: Any) -> Quantity:
        if not isinstance(data, str):
            raise serializers.ValidationError(
                'Send a quantity with its unit in quotes, such as "2.5 kg".', code="unreadable"
            )
        return _read(parse_quantity, data)  # type: ignore[no-any-return]


@extend_schema_field({**DECIMAL, "examples": ["186.00"]})
class DecimalText(serializers.Field):  # type: ignore[type-arg]
    """A decimal in quotes, within bounds; no exponent, no NaN."""

    def __init__(
        self,
        *,
        above: str | None = None,
        least: str | None = None,
        most: str = "999999999999",
        places: int = 6,
        **options: Any,
    ) -> None:
        self.above = None if above is None else Decimal(above)
        self.least = None if least is None else Decimal(least)
        self.most, self.places = Decimal(most), places
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> Decimal:
        if isinstance(data, bool) or not isinstance(data, str | int) or not str(data).isascii():
            raise serializers.ValidationError(
                'Send a decimal in quotes, such as "12.50".', code="not_a_decimal"
            )
        try:
            value = Decimal(str(data)) if not set(str(data)) & set("eE_") else None
        except InvalidOperation:
            value = None
        if value is None or not value.is_finite() or len(str(data)) > 40:
            raise serializers.ValidationError(
                'This is not a decimal; write digits with a point, such as "12.50".',
                code="not_a_decimal",
            )
        self._check(value)
        return value

    def _check(self, value: Decimal) -> None:
        if self.above is not None and value <= self.above:
            message = f"This must be above {self.above}."
        elif self.least is not None and value < self.least:
            message = f"This must be {self.least} or more."
        elif value > self.most:
            message = f"This must be {self.most} or less."
        elif -int(value.as_tuple().exponent) > self.places:
            message = f"This has more than {self.places} decimals."
        else:
            return
        raise serializers.ValidationError(message, code="out_of_range")


class DensityIn(Body):
    """A density, and the temperature it was measured at."""

    value = Text(max_length=64, help_text='Such as "1.26 g/mL".')
    at = Text(max_length=32, required=False, help_text='Such as "20 degC".')

    def to_internal_value(self, data: Any) -> Density:
        found = super().to_internal_value(data)
        try:
            return parse_density(found["value"], found.get("at"))
        except Refusal as refusal:
            place = "at" if refusal.code.startswith("temperature") else "value"
            raise serializers.ValidationError(
                {place: [serializers.ErrorDetail(refusal.detail, refusal.code)]}
            ) from refusal


@extend_schema_field({"type": "string", "maxLength": 64, "examples": ["45 degC", "113 degF"]})
class TemperatureField(serializers.Field):  # type: ignore[type-arg]
    """A temperature as people type it, read as degrees Celsius to a hundredth."""

    def to_internal_value(self, data: Any) -> Decimal:
        if not isinstance(data, str):
            raise serializers.ValidationError(
                'Send a temperature with its scale in quotes, such as "45 degC".', code="unreadable"
            )
        celsius: Decimal = _read(parse_temperature, data)
        return celsius.quantize(Decimal("0.01"))


@extend_schema_field(OpenApiTypes.DATETIME)
class Moment(serializers.DateTimeField):
    """A moment with its offset from UTC (RFC 3339); without one it would be anybody's guess."""

    def to_internal_value(self, value: Any) -> datetime:
        if isinstance(value, str) and not _has_offset(value):
            raise serializers.ValidationError(
                'Send the offset too, such as "2026-05-06T09:30:00Z".', code="offset_missing"
            )
        try:
            moment = super().to_internal_value(value)
        except OverflowError:
            moment = None
        if moment is None or not 1900 <= moment.year < 2200:
            raise serializers.ValidationError("This moment is out of range.", code="out_of_range")
        return moment


@extend_schema_field(
    {"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$", "examples": ["21:00"]}
)
class WallTime(serializers.Field):  # type: ignore[type-arg]
    """What a clock on the wall shows, to the minute."""

    def to_internal_value(self, data: Any) -> time:
        shown = (
            re.fullmatch("([01][0-9]|2[0-3]):([0-5][0-9])", data, re.ASCII)
            if isinstance(data, str)
            else None
        )
        if shown is None:
            raise serializers.ValidationError('Send a time such as "21:00".', code="unreadable")
        return time(int(shown[1]), int(shown[2]))


def _has_offset(text: str) -> bool:
    return text[-1:] in "Zz" or "+" in text[10:] or "-" in text[10:]


@extend_schema_field(DECIMAL)
class Shown(serializers.CharField):
    """A decimal in an answer."""


def listed(
    of: type[Body], *, least: int = 0, most: int, **options: Any
) -> "serializers.ListSerializer[Any]":
    """A list of bodies, so long and no longer."""
    make: Any = of
    said = {"not_a_list": "Send a list: objects in brackets, also if it is only one."}
    many: serializers.ListSerializer[Any] = make(
        many=True, min_length=least, max_length=most, error_messages=said, **options
    )
    return many


def plain(value: Decimal | None) -> str | None:
    """A decimal as digits, without an exponent."""
    return None if value is None else f"{value:f}"


def shortest(value: Decimal | None) -> str | None:
    """The same without the zeros at its end."""
    return None if value is None else f"{value.normalize():f}"
