"""What is measured at a batch, and how it stands to the window of its formula.

A window is a target with a low and a high limit, both still inside. A value is judged inside,
below or above it; what looks, smells or feels is judged by the person who looks. Nothing here
decides what becomes of a batch.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

from ledger.errors import (
    Invalid,
    Sentence,
    Unreadable,
    placed,
)
from ledger.quantities import parse_temperature
from ledger.typed_numbers import DECIMAL, tidy

MICRO = Decimal("0.000001")


class Measure(StrEnum):
    """What is measured."""

    PH = "ph"
    TEMPERATURE = "temperature"
    VISCOSITY = "viscosity"
    FLOW_TIME = "flow_time"
    APPEARANCE = "appearance"


class Judgement(StrEnum):
    """How a measured value stands to its window; none of them decides anything."""

    INSIDE = "inside"
    BELOW = "below"
    ABOVE = "above"
    OUTSIDE = "outside"
    NOT_JUDGED = "not_judged"


UNIT: Final = {
    Measure.PH: "",
    Measure.TEMPERATURE: "degC",
    Measure.VISCOSITY: "mPa.s",
    Measure.FLOW_TIME: "s",
    Measure.APPEARANCE: "",
}
# How people write the units, and what one of them is in the unit that is kept. 1 cP is 1 mPa.s
# (SI Brochure, the poise among the units that are no longer used).
_FACTORS: Final = {
    Measure.PH: {"": 1, "ph": 1},
    Measure.VISCOSITY: {"mpa.s": 1, "mpas": 1, "mpa·s": 1, "cp": 1, "cps": 1, "pa.s": 1000},
    Measure.FLOW_TIME: {"s": 1, "sec": 1, "seconds": 1, "min": 60, "minutes": 60},
}
_FACTORS[Measure.VISCOSITY] |= {"pas": 1000, "pa·s": 1000}
_WANTED: Final = {
    Measure.PH: Sentence('a number such as "5.4"'),
    Measure.VISCOSITY: Sentence('a viscosity such as "5200 mPa.s", "5200 cP" or "5.2 Pa.s"'),
    Measure.FLOW_TIME: Sentence('a time such as "38 s" or "2 min"'),
}
_RANGE: Final = {
    Measure.PH: (Decimal(0), Decimal(14)),
    Measure.VISCOSITY: (MICRO, Decimal(10**9)),
    Measure.FLOW_TIME: (MICRO, Decimal(86_400)),
}
_PH = re.compile(rf"(?:ph ?)?({DECIMAL})", re.IGNORECASE)
_WITH_UNIT = re.compile(rf"({DECIMAL}) ?([^\W\d_][^\d]*)")


class MeasurementUnreadable(Unreadable):
    """This cannot be read as what was measured."""

    code = "measurement_unreadable"


class MeasurementOutOfRange(Invalid):
    """No batch measures {value} {unit}; check the number and its unit."""

    code = "measurement_out_of_range"


@dataclass(frozen=True, slots=True)
class Window:
    """What a formula wants of one measure, in its unit; `text` is how it should look.

    A limit that is left out does not limit.
    """

    measure: Measure
    target: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    text: str = ""


def read_measure(measure: Measure, text: str) -> Decimal:
    """A measured value in the unit that is kept, to six decimals.

    Raises MeasurementUnreadable, MeasurementOutOfRange, and for a temperature what
    `parse_temperature` raises.
    """
    if measure is Measure.TEMPERATURE:
        return parse_temperature(text).quantize(MICRO)
    typed = tidy(text, MeasurementUnreadable)
    found = (_PH if measure is Measure.PH else _WITH_UNIT).fullmatch(typed)
    factors = _FACTORS[measure]
    unit = found[2].strip().lower() if found and measure is not Measure.PH else ""
    if found is None or unit not in factors:
        raise MeasurementUnreadable(
            Sentence("This cannot be read: write {wanted}.", wanted=_WANTED[measure])
        )
    number = Decimal(found[1]) * factors[unit]
    low, high = _RANGE[measure]
    if not low <= number <= high:
        raise MeasurementOutOfRange(value=f"{number:f}", unit=UNIT[measure] or "pH")
    return number.quantize(MICRO)


def read_window(
    measure: Measure, *, target: str | None = None, low: str | None = None, high: str | None = None
) -> Window:
    """A window as it was typed. Raises what `read_measure` raises, and Invalid, each placed."""
    if measure is Measure.APPEARANCE:
        words = (target or "").split()
        if low is not None or high is not None or not words:
            raise Invalid(
                "How it should look is said in words, as the target alone.", pointer="/target"
            )
        return Window(measure, text=" ".join(words))
    typed = {"target": target, "low": low, "high": high}
    if all(text is None for text in typed.values()):
        raise Invalid("A window has a target, a low limit or a high one.", pointer="/target")
    read: dict[str, Decimal | None] = {}
    for name, text in typed.items():
        with placed(f"/{name}"):
            read[name] = None if text is None else read_measure(measure, text)
    window = Window(measure, read["target"], read["low"], read["high"])
    _check_order(window)
    return window


def judge(window: Window | None, value: Decimal | None, agrees: bool | None = None) -> Judgement:
    """How a value stands to its window; without a value, what the person said of it."""
    if value is None:
        if agrees is None:
            return Judgement.NOT_JUDGED
        return Judgement.INSIDE if agrees else Judgement.OUTSIDE
    if window is None or (window.low is None and window.high is None):
        return Judgement.NOT_JUDGED
    if window.low is not None and value < window.low:
        return Judgement.BELOW
    if window.high is not None and value > window.high:
        return Judgement.ABOVE
    return Judgement.INSIDE


def is_outside(judgement: Judgement) -> bool:
    """Whether a judgement is one that a batch's answer must name."""
    return judgement in {Judgement.BELOW, Judgement.ABOVE, Judgement.OUTSIDE}


def told(window: Window | None, value: Decimal | None, agrees: bool | None = None) -> str:
    """The judgement as a sentence, with both figures; empty where there is nothing to say."""
    judgement = judge(window, value, agrees)
    if not is_outside(judgement):
        return ""
    if value is None or window is None:
        wanted = f", which should be: {window.text}" if window else ""
        return f"The appearance does not agree{wanted}."
    limit = window.low if judgement is Judgement.BELOW else window.high
    return (
        f"{_name(window.measure)} {_figure(window.measure, value)} is {judgement.value}"
        f" the {'low' if judgement is Judgement.BELOW else 'high'} limit of"
        f" {_figure(window.measure, limit or Decimal(0))}."
    )


def _name(measure: Measure) -> str:
    names = {Measure.PH: "pH", Measure.FLOW_TIME: "Flow time"}
    return names.get(measure, measure.value.capitalize())


def _figure(measure: Measure, value: Decimal) -> str:
    unit = UNIT[measure]
    figure = f"{value.normalize():f}"
    return f"{figure} {unit}" if unit else figure


def _check_order(window: Window) -> None:
    inside = [one for one in (window.low, window.target, window.high) if one is not None]
    if inside != sorted(inside):
        wrong = "/low" if window.low is not None and window.low > inside[1] else "/target"
        raise Invalid(
            "A low limit is not above the target, and the target not above the high limit.",
            pointer=wrong,
        )
