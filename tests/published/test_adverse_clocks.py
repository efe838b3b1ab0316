"""Statutory days, against published lists and the words of the texts."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.adverse_clocks import (
    CAUTION,
    Clock,
    Heard,
    business_days_after,
    clocks,
    federal_holidays,
    is_business_day,
    next_report,
    years_after,
)
from tests.published.rows import Row, published_rows

# Federal holidays as observed. 2024: a court's published list under 5 USC 6103
# (okep.uscourts.gov, office holidays); 2026 and 2027: the Office of Personnel Management's list,
# from memory.
# 2022 and 2028 by the same rules: Christmas Day 2022 is a Sunday, New Year's Day 2028 a Saturday.
OBSERVED = {
    2022: "01-17 02-21 05-30 06-20 07-04 09-05 10-10 11-11 11-24 12-26",
    2024: "01-01 01-15 02-19 05-27 06-19 07-04 09-02 10-14 11-11 11-28 12-25",
    2026: "01-01 01-19 02-16 05-25 06-19 07-03 09-07 10-12 11-11 11-26 12-25",
    2027: "01-01 01-18 02-15 05-31 06-18 07-05 09-06 10-11 11-11 11-25 12-24 12-31",
    2028: "01-17 02-21 05-29 06-19 07-04 09-04 10-09 11-10 11-23 12-25",
}
RECEIVED = date(2025, 6, 16)


def on(text: str) -> date:
    return date.fromisoformat(text)


@pytest.mark.parametrize("year", OBSERVED)
def test_federal_holidays_are_observed_as_published(year: int) -> None:
    assert sorted(federal_holidays(year)) == [on(f"{year}-{day}") for day in OBSERVED[year].split()]


def test_fifteen_business_days_leave_out_weekends_and_holidays() -> None:
    """From a Monday: 15 weekdays later is Monday 7 July, and two holidays lie between."""
    assert business_days_after(RECEIVED, 15) == on("2025-07-09")
    assert business_days_after(on("2025-08-04"), 15) == on("2025-08-25")
    assert business_days_after(on("2025-08-01"), 1) == on("2025-08-04"), "a Friday"


@given(st.dates(date(2023, 1, 1), date(2060, 1, 1)), st.integers(1, 40))
def test_so_many_business_days_lie_between(day: date, count: int) -> None:
    end = business_days_after(day, count)
    between = [day + timedelta(days=n) for n in range(1, (end - day).days + 1)]
    assert is_business_day(end)
    assert sum(is_business_day(one) for one in between) == count


def told(facts: list[Heard], *, adverse: bool = True, serious: bool = True) -> dict[str, Clock]:
    found = clocks(RECEIVED, adverse=adverse, serious=serious, facts=facts)
    assert len({one.name for one in found}) == len(found)
    return {one.name: one for one in found}


def test_what_is_no_adverse_event_has_no_clock() -> None:
    assert told([], adverse=False) == {}


def test_every_adverse_event_is_kept_on_record() -> None:
    """FD&C Act §605: six years, for a small business three."""
    found = told([], serious=False)
    assert {name: one.due_on for name, one in found.items()} == {
        "us_records": on("2031-06-16"),
        "us_records_small": on("2028-06-16"),
    }


def days_to_report(row: Row) -> None:
    days, kind = row.expected.split(" ", 1)
    clock = told([])["us_report"]
    assert kind == "business days"
    assert clock.due_on == business_days_after(RECEIVED, int(days))
    assert clock.from_on == RECEIVED


def kept_for(name: str) -> Callable[[Row], None]:
    """Whether the clock of that name runs for as long as the row says, serious or not."""

    def rule(row: Row) -> None:
        years = int(row.expected.removesuffix(" years"))
        for serious in (True, False):
            assert told([], serious=serious)[name].due_on == years_after(RECEIVED, years)

    return rule


RULES: dict[str, Callable[[Row], None]] = {
    "rule: serious adverse event report": days_to_report,
    "rule: adverse-event records": kept_for("us_records"),
    "rule: adverse-event records, small business": kept_for("us_records_small"),
}


@pytest.mark.parametrize("row", published_rows("labels.csv", *RULES))
def test_rules(row: Row) -> None:
    RULES[row.quantity](row)


def test_a_serious_one_is_reported() -> None:
    """FD&C Act §605(b)(1): 15 business days; Art 23(1) and its guidelines: 20 calendar days."""
    found = told([])
    assert found["us_report"].due_on == on("2025-07-09")
    assert found["eu_report"].due_on == on("2025-07-06")
    assert {one.done_on for one in found.values()} == {None}
    done = told([Heard("reported_us", on("2025-06-20")), Heard("reported_eu", on("2025-06-18"))])
    assert done["us_report"].done_on == on("2025-06-20")
    assert done["eu_report"].done_on == on("2025-06-18")


def test_new_medical_information_within_a_year_of_the_report() -> None:
    """FD&C Act §605(b)(2)."""
    reported = Heard("reported_us", on("2025-06-20"))
    news = Heard("medical_information", on("2026-06-19"))
    assert "us_update" not in told([news]), "there is no report yet that it would add to"
    assert told([reported, news])["us_update"].due_on == on("2026-07-13")
    late = Heard("medical_information", on("2026-06-21"))
    assert "us_update" not in told([reported, late])
    again = told([reported, news, Heard("reported_us", on("2026-06-25"))])
    assert again["us_update"].done_on == on("2026-06-25")
    assert again["us_report"].done_on == on("2025-06-20")
    same_day = told([reported, Heard("medical_information", reported.on)])
    assert same_day["us_update"].done_on is None


def test_each_clock_says_what_is_asked_and_by_which_clause() -> None:
    """The clauses are those of the texts that the module names; the words are for people."""
    reported = Heard("reported_us", on("2025-06-20"))
    news = Heard("medical_information", on("2025-06-23"))
    counted = "Monday to Friday without the federal holidays of 5 USC 6103(a)"
    assert clocks(RECEIVED, adverse=True, serious=True, facts=[reported, news]) == [
        Clock(
            "us_report",
            "a report of the serious adverse event with a copy of the label",
            "FD&C Act §605(b)(1)",
            f"15 business days after receipt: {counted}",
            RECEIVED,
            on("2025-07-09"),
            reported.on,
        ),
        Clock(
            "us_update",
            "the new medical information",
            "FD&C Act §605(b)(2)",
            f"15 business days after it came: {counted}",
            news.on,
            on("2025-07-15"),
        ),
        Clock(
            "eu_report",
            "a notification of the serious undesirable effect without delay",
            "Regulation (EC) No 1223/2009 Art 23(1); SUE reporting guidelines of the Commission",
            "20 calendar days after receipt",
            RECEIVED,
            on("2025-07-06"),
        ),
        Clock(
            "us_records",
            "records of the adverse event are kept",
            "FD&C Act §605",
            "6 years after receipt",
            RECEIVED,
            on("2031-06-16"),
        ),
        Clock(
            "us_records_small",
            "records are kept by a small business as §612 has it",
            "FD&C Act §605",
            "3 years after receipt",
            RECEIVED,
            on("2028-06-16"),
        ),
    ]


def test_the_report_that_is_asked_for_first_is_next() -> None:
    """The EU asks for it three days before the US; how long records are kept is no report."""

    def name(*facts: Heard) -> str | None:
        found = next_report(told([*facts]).values())
        return found.name if found else None

    assert next_report(told([], serious=False).values()) is None
    assert name() == "eu_report"
    both = Heard("reported_eu", on("2025-06-18")), Heard("reported_us", on("2025-06-20"))
    assert name(both[0]) == "us_report"
    assert name(*both) is None
    assert name(*both, Heard("medical_information", on("2025-06-23"))) == "us_update"


def test_what_was_reported_before_the_receipt_was_another_event() -> None:
    before = [Heard("reported_us", on("2025-06-15")), Heard("reported_eu", on("2025-06-15"))]
    found = told(before)
    assert (found["us_report"].done_on, found["eu_report"].done_on) == (None, None)
    same_day = told([Heard("reported_us", RECEIVED), Heard("reported_eu", RECEIVED)])
    assert (same_day["us_report"].done_on, same_day["eu_report"].done_on) == (RECEIVED, RECEIVED)


def test_news_counts_from_the_first_report_to_the_same_day_a_year_later() -> None:
    reported = Heard("reported_us", on("2025-06-20"))
    earlier = Heard("medical_information", on("2025-06-19"))
    assert "us_update" not in told([reported, earlier]), "the report itself has it"
    last = Heard("medical_information", on("2026-06-20"))
    assert told([reported, last])["us_update"].due_on == on("2026-07-13")
    answered = told([reported, last, Heard("reported_us", last.on)])
    assert answered["us_update"].done_on == last.on


def test_a_leap_day_is_kept_the_longer() -> None:
    assert years_after(on("2024-02-29"), 6) == on("2030-03-01")
    assert years_after(on("2024-02-29"), 4) == on("2028-02-29")


def test_nothing_is_decided() -> None:
    assert "check your local authority" in CAUTION
