"""What is to be measured at a batch, with its windows, and what was measured already."""

from collections.abc import Sequence
from typing import Final

from api.sheets.blocks import Table
from formulas.judging import UNIT, Measure
from formulas.models import Batch, Measurement, Window

NAMES: Final = {
    Measure.PH: "pH",
    Measure.TEMPERATURE: "Temperature",
    Measure.VISCOSITY: "Viscosity",
    Measure.FLOW_TIME: "Flow time",
    Measure.APPEARANCE: "Appearance, colour, odour",
}
# What is looked at where the formula asks for nothing.
USUAL: Final = (Measure.TEMPERATURE, Measure.PH, Measure.VISCOSITY, Measure.APPEARANCE)
HEAD: Final = ("Measured", "At", "Result", "Target and limits", "Within", "By")


def measurements(batch: Batch) -> Table:
    """Readings that stand, then a free row for each measure that the formula's version asks for."""
    windows = {Measure(one.measure): one for one in batch.version.windows.all()}
    readings: Sequence[Measurement] = list(batch.measurements.all())
    corrected = {one.corrects_id for one in readings}
    rows: list[tuple[str, ...]] = []
    for one in sorted(readings, key=lambda reading: reading.happened_at):
        if one.id not in corrected:
            measure = Measure(one.measure)
            at = f"{one.happened_at.day} {one.happened_at:%b, %H:%M}"
            wanted = _wanted(windows.get(measure), measure)
            rows.append((NAMES[measure], at, one.entered, wanted, "", str(one.person)))
    for measure in windows or USUAL:
        rows.append((NAMES[measure], "", "", _wanted(windows.get(measure), measure), "", ""))
    return Table(HEAD, (24, 13, 19, 24, 8, 12), rows)


def _wanted(window: Window | None, measure: Measure) -> str:
    """A window in words: "5.5 (5.0 to 6.0)"."""
    if window is None:
        return ""
    if window.text:
        return window.text
    low, target, high = (
        None if value is None else f"{value.normalize():f}"
        for value in (window.low, window.target, window.high)
    )
    if low and high:
        limits = f"{low} to {high}"
    else:
        limits = f"from {low}" if low else f"up to {high}" if high else ""
    said = f"{target} ({limits})" if target and limits else target or limits
    return f"{said} {UNIT[measure]}".strip()
