"""Hours of the wall clock: quiet ones, digests, and the nights on which the clocks are changed."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.quiet_hours import Clock

PARIS, NEW_YORK = ZoneInfo("Europe/Paris"), ZoneInfo("America/New_York")


def clock(zone: ZoneInfo, begins: str = "", ends: str = "", digest_hour: int = 8) -> Clock:
    quiet = (time.fromisoformat(begins), time.fromisoformat(ends)) if begins else (None, None)
    return Clock(zone, digest_hour, *quiet)


def at(zone: ZoneInfo, text: str, fold: int = 0) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=zone, fold=fold)


@pytest.mark.parametrize(
    ("shown", "quiet"),
    [
        ("2026-07-01T20:59", False),
        ("2026-07-01T21:00", True),
        ("2026-07-02T00:00", True),
        ("2026-07-02T06:59", True),
        ("2026-07-02T07:00", False),
    ],
)
def test_over_midnight(shown: str, quiet: bool) -> None:
    assert clock(PARIS, "21:00", "07:00").quiet_at(at(PARIS, shown)) is quiet


def test_within_a_day() -> None:
    noon = clock(PARIS, "12:00", "14:00")
    assert noon.next_allowed(at(PARIS, "2026-07-01T12:00")) == at(PARIS, "2026-07-01T14:00")
    for free in ("11:59", "14:00", "23:00"):
        moment = at(PARIS, f"2026-07-01T{free}")
        assert noon.next_allowed(moment) == moment


def test_never_quiet() -> None:
    moment = at(PARIS, "2026-07-01T03:00")
    assert clock(PARIS).next_allowed(moment) == moment
    assert not clock(PARIS).quiet_at(moment)


def test_the_hours_are_of_the_maker_s_own_zone() -> None:
    """At 02:00 UTC it is evening in New York and deep night in Paris."""
    moment = datetime(2026, 7, 1, 2, tzinfo=UTC)
    assert not clock(NEW_YORK, "23:00", "07:00").quiet_at(moment)
    assert clock(PARIS, "23:00", "07:00").quiet_at(moment)


def test_the_night_that_is_an_hour_short() -> None:
    """In Paris 02:00 to 03:00 on 29 March 2026 is not there: 07:00 comes an hour sooner."""
    quiet = clock(PARIS, "21:00", "07:00")
    evening = at(PARIS, "2026-03-28T21:30")
    ends = quiet.next_allowed(evening)
    assert ends == datetime(2026, 3, 29, 5, tzinfo=UTC)
    assert ends - evening.astimezone(UTC) == timedelta(hours=8, minutes=30)


def test_an_end_that_the_clocks_skip() -> None:
    ends = clock(PARIS, "21:00", "02:30").next_allowed(at(PARIS, "2026-03-29T01:30"))
    assert ends == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)
    assert ends.astimezone(PARIS).time() == time(3, 30)


def test_an_end_that_the_clocks_show_twice() -> None:
    """In New York 01:00 to 02:00 on 1 November 2026 is there twice, and quiet twice."""
    quiet = clock(NEW_YORK, "22:00", "01:30")
    first = quiet.next_allowed(at(NEW_YORK, "2026-11-01T01:15"))
    assert first == datetime(2026, 11, 1, 5, 30, tzinfo=UTC)
    second = quiet.next_allowed(at(NEW_YORK, "2026-11-01T01:15", fold=1))
    assert second == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)


def test_a_digest_at_its_hour() -> None:
    daily = clock(PARIS, digest_hour=8)
    eight = at(PARIS, "2026-07-01T08:00")
    assert daily.next_digest(at(PARIS, "2026-07-01T07:59")) == eight
    assert daily.next_digest(eight) == at(PARIS, "2026-07-02T08:00")
    # In New York it is still the first of July where it is the second by UTC.
    evening = clock(NEW_YORK, digest_hour=23).next_digest(at(NEW_YORK, "2026-07-01T22:00"))
    assert evening == at(NEW_YORK, "2026-07-01T23:00")


def test_a_digest_waits_for_the_end_of_the_quiet_hours() -> None:
    late = clock(PARIS, "21:00", "09:30", digest_hour=6)
    assert late.next_digest(at(PARIS, "2026-07-01T20:00")) == at(PARIS, "2026-07-02T09:30")


def test_one_digest_on_the_day_with_an_hour_twice() -> None:
    daily = clock(NEW_YORK, digest_hour=1)
    first = daily.next_digest(at(NEW_YORK, "2026-11-01T00:30"))
    assert first == datetime(2026, 11, 1, 5, tzinfo=UTC)
    assert daily.next_digest(first) == at(NEW_YORK, "2026-11-02T01:00")


minutes = st.integers(0, 24 * 60 - 1).map(lambda n: time(n // 60, n % 60))


@given(
    zone=st.sampled_from(["Europe/Paris", "America/New_York", "Australia/Lord_Howe", "UTC"]),
    hours=st.tuples(minutes, minutes).filter(lambda pair: pair[0] != pair[1]),
    hour=st.integers(0, 23),
    quarters=st.integers(0, 2 * 366 * 24 * 4),
)
def test_nothing_goes_early_or_when_it_is_quiet(
    zone: str, hours: tuple[time, time], hour: int, quarters: int
) -> None:
    moment = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=15 * quarters)
    its = Clock(ZoneInfo(zone), hour, *hours)
    allowed, digest = its.next_allowed(moment), its.next_digest(moment)
    assert allowed >= moment
    assert digest > moment
    assert not its.quiet_at(allowed)
    assert not its.quiet_at(digest)
    assert allowed - moment < timedelta(hours=25)
    assert its.next_allowed(allowed) == allowed
