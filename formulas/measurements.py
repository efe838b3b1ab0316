"""Measuring at a batch: pH, temperature, viscosity, flow time, appearance; and how they stand."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from formulas.access import batch_for
from formulas.errors import AlreadyCorrected
from formulas.judging import Judgement, Measure, Window, is_outside, judge, read_measure
from formulas.models import Batch, FormulaVersion, Measurement
from ledger.access import Actor, find
from ledger.entries import EXPLAINED, explained
from ledger.errors import (
    Conflict,
    Invalid,
    Sentence,
    placed,
)
from ledger.quantities import parse_temperature
from ledger.roles import Verb

HUNDREDTH = Decimal("0.01")
ORDER = [measure.value for measure in Measure]


@dataclass(frozen=True, slots=True)
class Standing:
    """How a batch stands to the windows of its version, by its last measurement of each kind."""

    outside: tuple[Measurement, ...]
    not_measured: tuple[Measure, ...]


def record_measurement(
    actor: Actor,
    *,
    batch: UUID | str,
    measure: Measure,
    value: str,
    happened_at: datetime,
    at: str | None = None,
    agrees: bool | None = None,
    phase: str = "",
    note: str = "",
    corrects: UUID | str | None = None,
) -> Measurement:
    """Keep what was measured at a batch, also after it is finished; the value as it is typed.

    `at` is the temperature of what was measured, `phase` one of the formula's, and `agrees` what
    the person says of an appearance. Whatever is measured is kept: a value outside its window is
    said, and decides nothing. Raises NotFound, Conflict for a cancelled batch, AlreadyCorrected,
    Invalid, and what `read_measure` raises.
    """
    actor.must(Verb.MAKE)
    found = batch_for(actor, batch)
    if found.state == Batch.State.CANCELLED:
        raise Conflict(
            Sentence(
                "The batch {code} is cancelled, and there is nothing to measure.", code=found.code
            )
        )
    _check_phase(found, phase)
    row = Measurement(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        batch=found,
        measure=measure,
        entered=value,
        agrees=agrees,
        phase=phase,
        note=note,
        corrects=_corrected(found, corrects),
        happened_at=happened_at,
        person_id=actor.person_id,
    )
    _read_into(row, measure, value, at)
    with explained():
        row.save(force_insert=True)
    return _with_correction(Measurement.objects.all()).get(id=row.id)


def measurements_of(actor: Actor, batch: UUID | str) -> tuple[Batch, QuerySet[Measurement]]:
    """A batch, and all that was measured at it, corrected ones too. Raises NotFound, Forbidden."""
    found = batch_for(actor, batch)
    return found, _with_correction(Measurement.objects.filter(batch=found))


def still_true(rows: QuerySet[Measurement]) -> QuerySet[Measurement]:
    """Only the measurements that no other corrects."""
    later = Measurement.objects.filter(coop_id=OuterRef("coop_id"), corrects=OuterRef("id"))
    return rows.filter(~Exists(later))


def last_celsius(batch: Batch, before: datetime, since: datetime | None = None) -> Decimal | None:
    """The temperature of a batch that was last recorded for a moment or earlier; None if none."""
    rows = Measurement.objects.filter(batch=batch, measure=Measure.TEMPERATURE)
    if since is not None:
        rows = rows.filter(happened_at__gte=since)
    rows = still_true(rows.filter(happened_at__lte=before)).order_by("happened_at", "id")
    return rows.values_list("value", flat=True).last()


def windows_of(version: FormulaVersion) -> dict[Measure, Window]:
    """The windows of a version, by measure; of rows that are at hand, with no query."""
    return {
        Measure(row.measure): Window(Measure(row.measure), row.target, row.low, row.high, row.text)
        for row in sorted(version.windows.all(), key=lambda row: ORDER.index(row.measure))
    }


def standing_rows(batch: Batch) -> list[Measurement]:
    """The measurements of a batch that no other corrects; of rows at hand, with no query."""
    rows = list(batch.measurements.all())
    corrected = {row.corrects_id for row in rows}
    return [row for row in rows if row.id not in corrected]


def judged(row: Measurement, windows: dict[Measure, Window]) -> Judgement:
    """How a measurement stands to its window."""
    return judge(windows.get(Measure(row.measure)), row.value, row.agrees)


def standing_of(rows: Iterable[Measurement], windows: dict[Measure, Window]) -> Standing:
    """How a batch stands by the last of each measure among those that still count.

    An earlier one that was outside, before something was done about it, is history.
    """
    last: dict[Measure, Measurement] = {}
    for row in sorted(rows, key=lambda row: (row.happened_at, row.id)):
        last[Measure(row.measure)] = row
    return Standing(
        outside=tuple(row for row in last.values() if is_outside(judged(row, windows))),
        not_measured=tuple(measure for measure in windows if measure not in last),
    )


def _with_correction(rows: QuerySet[Measurement]) -> QuerySet[Measurement]:
    """With the id of the measurement that corrects each, as `corrected_by_id`."""
    later = Measurement.objects.filter(coop_id=OuterRef("coop_id"), corrects=OuterRef("id"))
    return rows.select_related("batch__version").annotate(
        corrected_by_id=Subquery(later.values("id")[:1])
    )


def _check_phase(batch: Batch, phase: str) -> None:
    """Raises Invalid for a phase that the formula does not have."""
    if not phase:
        return
    names = list(batch.version.phases.order_by("position").values_list("name", flat=True))
    if phase not in names:
        known = ", ".join(repr(name) for name in names)
        raise Invalid(
            Sentence(
                "This formula has no such phase; there are: {known}. Say anything else in the"
                " note.",
                known=known,
            ),
            pointer="/phase",
        )


def _corrected(batch: Batch, id: UUID | str | None) -> Measurement | None:
    """The measurement that another puts right, of the same batch. Raises NotFound."""
    if id is None:
        return None
    rows = Measurement.objects.filter(batch=batch, maker_id=batch.maker_id)
    return find(rows, id, pointer="/corrects")


def _read_into(row: Measurement, measure: Measure, value: str, at: str | None) -> None:
    """What was typed, read. Raises Invalid and what `read_measure` raises, each placed."""
    if measure is Measure.APPEARANCE:
        row.entered = " ".join(value.split())
        if not row.entered:
            raise Invalid("Say how it looks.", pointer="/value")
    else:
        if row.agrees is not None:
            raise Invalid(
                "A number is judged by its window; agrees is for an appearance.", pointer="/agrees"
            )
        with placed("/value"):
            row.value = read_measure(measure, value)
    if at is not None:
        with placed("/at"):
            row.at_celsius = parse_temperature(at).quantize(HUNDREDTH)


EXPLAINED["measurement_corrected_once"] = lambda facts: AlreadyCorrected(pointer="/corrects")
EXPLAINED["measurement_not_in_future"] = lambda facts: Invalid(
    "This moment lies in the future; give the moment when it was measured.",
    pointer="/happened_at",
)
