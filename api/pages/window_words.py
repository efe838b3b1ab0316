"""What a formula wants of what is measured, as a page says it."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.reader import Reader
from formulas.judging import UNIT, Judgement, Measure, Window, is_outside
from formulas.models import Measurement

MEASURES: Final[dict[str, Promise]] = {
    "ph": _("pH"),
    "temperature": _("temperature"),
    "viscosity": _("viscosity"),
    "flow_time": _("flow time"),
    "appearance": _("how it looks"),
}


@dataclass(frozen=True, slots=True)
class Asked:
    """One measure: what is wanted of it, and what it was last, with how that stands to it."""

    name: Promise
    wanted: str
    last: Measurement | None = None
    judgement: Judgement | None = None
    measure: str = ""

    @property
    def is_met(self) -> bool:
        """Whether it was measured, and was not outside what is wanted when it was last."""
        return self.last is not None and (self.judgement is None or not is_outside(self.judgement))


def wanted(window: Window, reader: Reader) -> str:
    """ "4.8 to 5.4, best 5.2", with its unit; or how it should look."""
    if window.text:
        return window.text
    low, high, best = (
        _figure(value, window.measure, reader) for value in (window.low, window.high, window.target)
    )
    limits = ""
    if low and high:
        limits = said("%(low)s to %(high)s") % {"low": low, "high": high}
    elif low:
        limits = said("at least %(low)s") % {"low": low}
    elif high:
        limits = said("at most %(high)s") % {"high": high}
    if not best:
        return limits
    told = said("best %(best)s") % {"best": best}
    return f"{limits}, {told}" if limits else told


def asked(
    windows: Iterable[Window],
    reader: Reader,
    measured: Iterable[tuple[Measurement, Judgement]] = (),
) -> list[Asked]:
    """Every measure that a formula wants something of, beside the last of it, the last first."""
    last: dict[str, tuple[Measurement, Judgement]] = {}
    for row, how in measured:
        last.setdefault(row.measure, (row, how))
    return [
        Asked(
            name=MEASURES[one.measure],
            wanted=wanted(one, reader),
            last=last[one.measure][0] if one.measure in last else None,
            judgement=last[one.measure][1] if one.measure in last else None,
            measure=one.measure,
        )
        for one in windows
    ]


def _figure(value: Decimal | None, measure: Measure, reader: Reader) -> str:
    if value is None:
        return ""
    unit = UNIT[measure].replace("degC", "°C")
    return f"{reader.figure(value)} {unit}".rstrip()
