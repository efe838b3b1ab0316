"""By what day which text asks for a report of an adverse event. Shown, never decided. Pure.

FD&C Act §605 (21 USC 364a): a report of a serious adverse event is due no later than 15 business
days after it is received; new medical information that comes within a year of the first report is
due 15 business days after it comes; records are kept for 6 years, by a small business for 3.
Regulation (EC) No 1223/2009 Art 23(1): serious undesirable effects are notified without delay; the
Commission's guidelines (July 2013) say within 20 calendar days. The paragraphs of §605 are cited
from memory.

The Act does not say what a business day is. Counted here are Monday to Friday without the public
holidays of 5 USC 6103(a), each on the day on which it is observed; the day of receipt is not.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from ledger.errors import Sentence

REPORT_BUSINESS_DAYS: Final = 15
UPDATE_YEARS: Final = 1
KEPT_YEARS, KEPT_YEARS_SMALL = 6, 3
EU_CALENDAR_DAYS: Final = 20
CAUTION: Final = Sentence(
    "Rules differ by place; check your local authority. Days are counted from the first receipt,"
    " whether or not it was known to be serious then; whether an event must be reported is not"
    " decided here."
)
COUNTED: Final = Sentence("Monday to Friday without the federal holidays of 5 USC 6103(a)")
# These ask for no report: what is written down is kept so long.
RECORDS: Final = ("us_records", "us_records_small")
MONDAY, THURSDAY = 0, 3
SATURDAY, SUNDAY = 5, 6


@dataclass(frozen=True, slots=True)
class Clock:
    """What a text asks for by what day, from which day it counts, and when it was done."""

    name: str
    asks: str
    clause: str
    counted: str
    from_on: date
    due_on: date
    done_on: date | None = None


@dataclass(frozen=True, slots=True)
class Heard:
    """A fact that came later: of what kind, and on what day."""

    kind: str
    on: date


def clocks(
    received_on: date, *, adverse: bool, serious: bool, facts: Sequence[Heard]
) -> list[Clock]:
    """The clocks of one complaint; none for what is no adverse event."""
    if not adverse:
        return []
    found = [*_records(received_on)]
    if not serious:
        return found
    first_us = _first(facts, "reported_us", received_on)
    report = Clock(
        "us_report",
        Sentence("a report of the serious adverse event with a copy of the label"),
        Sentence("FD&C Act §605(b)(1)"),
        Sentence(
            "{days} business days after receipt: {counted}",
            days=REPORT_BUSINESS_DAYS,
            counted=COUNTED,
        ),
        received_on,
        business_days_after(received_on, REPORT_BUSINESS_DAYS),
        first_us,
    )
    effect = Clock(
        "eu_report",
        Sentence("a notification of the serious undesirable effect without delay"),
        Sentence(
            "Regulation (EC) No 1223/2009 Art 23(1); SUE reporting guidelines of the Commission"
        ),
        Sentence("{days} calendar days after receipt", days=EU_CALENDAR_DAYS),
        received_on,
        received_on + timedelta(days=EU_CALENDAR_DAYS),
        _first(facts, "reported_eu", received_on),
    )
    return [report, *_updates(first_us, facts), effect, *found]


def next_report(found: Iterable[Clock]) -> Clock | None:
    """The report that is asked for first and is not noted as made; None if there is none.

    How long records are kept asks for no report.
    """
    waiting = [one for one in found if one.name not in RECORDS and one.done_on is None]
    return min(waiting, key=lambda one: one.due_on, default=None)


def business_days_after(day: date, count: int) -> date:
    """The last of so many business days after a day, which itself is not counted."""
    while count:
        day += timedelta(days=1)
        count -= is_business_day(day)
    return day


def is_business_day(day: date) -> bool:
    """Monday to Friday, and no federal holiday of the United States is observed."""
    return day.weekday() < SATURDAY and day not in federal_holidays(day.year)


def federal_holidays(year: int) -> set[date]:
    """The days of a year on which a public holiday of 5 USC 6103(a) is observed.

    One on a Saturday is observed the Friday before (6103(b)), one on a Sunday the Monday after
    (Executive Order 11582). Inauguration Day, which only some have, is left out.
    """
    fixed = [(1, 1), (6, 19), (7, 4), (11, 11), (12, 25)]
    days = [date(year, month, day) for month, day in fixed]
    # New Year's Day of the next year may be observed in this one.
    observed = {_observed(day) for day in [*days, date(year + 1, 1, 1)]}
    observed |= {
        _nth(year, 1, MONDAY, 3),
        _nth(year, 2, MONDAY, 3),
        _nth(year, 6, MONDAY, 1) - timedelta(days=7),
        _nth(year, 9, MONDAY, 1),
        _nth(year, 10, MONDAY, 2),
        _nth(year, 11, THURSDAY, 4),
    }
    return {day for day in observed if day.year == year}


def years_after(day: date, years: int) -> date:
    """The same day so many years later; 1 March for a 29 February that there is not."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def _observed(day: date) -> date:
    moved = {SATURDAY: -1, SUNDAY: 1}.get(day.weekday(), 0)
    return day + timedelta(days=moved)


def _nth(year: int, month: int, weekday: int, number: int) -> date:
    first = date(year, month, 1)
    return first + timedelta(days=(weekday - first.weekday()) % 7 + 7 * (number - 1))


def _first(facts: Iterable[Heard], kind: str, not_before: date) -> date | None:
    return min((one.on for one in facts if one.kind == kind and one.on >= not_before), default=None)


def _updates(first_report: date | None, facts: Sequence[Heard]) -> list[Clock]:
    """One clock for each piece of medical information within a year of the first report."""
    if first_report is None:
        return []
    last = years_after(first_report, UPDATE_YEARS)
    # A report of the same day may well be the first one, which did not have it.
    later = [one for one in facts if one.kind == "reported_us" and one.on > first_report]
    return [
        Clock(
            "us_update",
            Sentence("the new medical information"),
            Sentence("FD&C Act §605(b)(2)"),
            Sentence(
                "{days} business days after it came: {counted}",
                days=REPORT_BUSINESS_DAYS,
                counted=COUNTED,
            ),
            one.on,
            business_days_after(one.on, REPORT_BUSINESS_DAYS),
            _first(later, "reported_us", one.on),
        )
        for one in facts
        if one.kind == "medical_information" and first_report <= one.on <= last
    ]


def _records(received_on: date) -> list[Clock]:
    return [
        Clock(
            name,
            asks,
            Sentence("FD&C Act §605"),
            Sentence("{years} years after receipt", years=years),
            received_on,
            years_after(received_on, years),
        )
        for name, asks, years in (
            ("us_records", Sentence("records of the adverse event are kept"), KEPT_YEARS),
            (
                "us_records_small",
                Sentence("records are kept by a small business as §612 has it"),
                KEPT_YEARS_SMALL,
            ),
        )
    ]
