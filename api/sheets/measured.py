"""What is to be measured at a batch, with its windows, and what was measured already."""

from collections.abc import Sequence
from typing import Final

from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.sheets.blocks import Table
from api.sheets.figures import Hand
from formulas.judging import Measure
from formulas.models import Batch, Measurement, Window

NAMES: Final = {
    Measure.PH: _("pH"),
    Measure.TEMPERATURE: _("Temperature"),
    Measure.VISCOSITY: _("Viscosity"),
    Measure.FLOW_TIME: _("Flow time"),
    Measure.APPEARANCE: _("Appearance, colour, odour"),
}
# The units that are kept, by their symbols.
SYMBOLS: Final = {
    Measure.TEMPERATURE: " °C",
    Measure.VISCOSITY: " mPa·s",
    Measure.FLOW_TIME: " s",
}
# What is looked at where the formula asks for nothing.
USUAL: Final = (Measure.TEMPERATURE, Measure.PH, Measure.VISCOSITY, Measure.APPEARANCE)


def measurements(batch: Batch, hand: Hand) -> Table:
    """Readings that stand, then a free row for each measure that the formula's version asks for."""
    windows = {Measure(one.measure): one for one in batch.version.windows.all()}
    readings: Sequence[Measurement] = list(batch.measurements.all())
    corrected = {one.corrects_id for one in readings}
    rows: list[tuple[str, ...]] = []
    for one in sorted(readings, key=lambda reading: reading.happened_at):
        if one.id not in corrected:
            measure, at = Measure(one.measure), hand.moment(one.happened_at)
            wanted = _wanted(windows.get(measure), measure, hand)
            read = hand.written(one.entered)
            rows.append((str(NAMES[measure]), at, read, wanted, "", str(one.person)))
    for measure in windows or USUAL:
        wanted = _wanted(windows.get(measure), measure, hand)
        rows.append((str(NAMES[measure]), "", "", wanted, "", ""))
    head = [said("Measured"), said("At"), said("Result"), said("Target and limits")]
    head += [said("Within"), said("By")]
    return Table(head, (22, 17, 19, 22, 8, 12), rows)


def _wanted(window: Window | None, measure: Measure, hand: Hand) -> str:
    """A window in words: "5.5 (5 to 6)"."""
    if window is None:
        return ""
    if window.text:
        return window.text
    low, target, high = (
        None if value is None else hand.number(value)
        for value in (window.low, window.target, window.high)
    )
    if low and high:
        limits = said("%(low)s to %(high)s") % {"low": low, "high": high}
    elif low:
        limits = said("from %(low)s") % {"low": low}
    else:
        limits = said("up to %(high)s") % {"high": high} if high else ""
    wanted = f"{target} ({limits})" if target and limits else target or limits
    return f"{wanted}{SYMBOLS.get(measure, '')}" if wanted else ""
