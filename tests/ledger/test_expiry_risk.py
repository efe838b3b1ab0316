"""What of dated lots is left at the end, reckoned by hand and held to what must always be so."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.expiry_risk import DatedLot, at_risk, runs_out_on

D = Decimal
TODAY = date(2026, 7, 1)


def lot(number: int, quantity: str, days: int) -> DatedLot:
    return DatedLot(UUID(int=number), D(quantity), TODAY + timedelta(days=days))


def left(lots: list[DatedLot], use: str) -> list[Decimal]:
    found = at_risk(lots, D(use), TODAY)
    return [found[one.lot] for one in lots]


def test_the_days_from_today_to_the_last_one_count() -> None:
    """Ten days with their both ends, 100 g a day: 1000 of 1500 g."""
    assert left([lot(1, "1500", 9)], "100") == [D(500)]
    assert left([lot(1, "1000", 9)], "100") == [D(0)]


def test_the_lot_that_ends_first_is_used_first() -> None:
    """Until the fifth day 500 g, all of the first lot; until the tenth 1000, so 500 of the next."""
    lots = [lot(2, "800", 9), lot(1, "500", 4)]
    assert left(lots, "100") == [D(300), D(0)]


def test_what_is_left_of_an_earlier_lot_is_not_used_later() -> None:
    """Only 200 of the first lot's 900 g go in time; the second has the three days after those."""
    assert left([lot(1, "900", 1), lot(2, "1000", 4)], "100") == [D(700), D(700)]


def test_without_use_all_of_it_is_at_risk() -> None:
    assert left([lot(1, "900", 400)], "0") == [D(900)]


def test_past_its_day_nothing_is_used_of_it() -> None:
    assert left([lot(1, "900", -1), lot(2, "300", 0)], "200") == [D(900), D(100)]


def test_what_is_promised_goes_in_time_beside_the_usual_use() -> None:
    """Until the fifth day 500 g go of 900, or the 700 that are promised; then until the tenth 300
    of the next. What is past its day nobody takes."""
    promised = DatedLot(UUID(int=1), D(900), TODAY + timedelta(days=4), D(700))
    assert left([promised, lot(2, "800", 9)], "100") == [D(200), D(500)]
    more = DatedLot(UUID(int=1), D(900), TODAY + timedelta(days=4), D(300))
    assert left([more], "100") == [D(400)]
    over = DatedLot(UUID(int=1), D(900), TODAY + timedelta(days=4), D(901))
    assert left([over], "0") == [D(0)]
    past = DatedLot(UUID(int=1), D(900), TODAY - timedelta(days=1), D(700))
    assert left([past], "100") == [D(900)]


@given(
    lots=st.lists(st.tuples(st.integers(0, 10**6), st.integers(-5, 400)), min_size=1, max_size=8),
    use=st.integers(0, 5000),
)
def test_no_more_is_used_than_is_there_or_than_the_days_allow(
    lots: list[tuple[int, int]], use: int
) -> None:
    dated = [lot(n, str(quantity), days) for n, (quantity, days) in enumerate(lots)]
    found = at_risk(dated, D(use), TODAY)
    assert all(0 <= found[one.lot] <= one.quantity for one in dated)
    for end in dated:
        until = [one for one in dated if one.last_day <= end.last_day]
        used = sum((one.quantity - found[one.lot] for one in until), D(0))
        assert used <= use * max(0, (end.last_day - TODAY).days + 1)


def day(days: int) -> date:
    return TODAY + timedelta(days=days)


def out(
    there: str,
    use: str = "0",
    *,
    needs: Sequence[tuple[int, str]] = (),
    coming: Sequence[tuple[int, str]] = (),
    lots: Sequence[DatedLot] = (),
) -> int | None:
    """In how many days it runs out, of what is there today without a last day."""
    comes = [(TODAY, D(there)), *((day(days), D(much)) for days, much in coming)]
    needed = [(day(days), D(much)) for days, much in needs]
    found = runs_out_on(lots, comes, needed, D(use), TODAY)
    return None if found is None else (found - TODAY).days


@pytest.mark.parametrize(
    ("there", "use", "days"),
    [
        # Ten days of 100 g, today the first of them.
        ("1000", "100", 9),
        ("1001", "100", 10),
        ("1099", "100", 10),
        ("0", "100", 0),
        ("1", "3", 0),
        ("0", "0.5", 0),
        # The furthest day that is told, by hand ten years of 365 days, and a day more.
        ("3650", "1", 3649),
        ("3651", "1", None),
        ("999999999999", "0.000001", None),
        ("1000", "0", None),
        ("0", "0", None),
    ],
)
def test_when_it_runs_out_by_use_alone(there: str, use: str, days: int | None) -> None:
    assert out(there, use) == days


def test_what_is_planned_takes_it_on_its_days() -> None:
    """By hand: of 1538 g 796.5 go on the 2nd day, 741.5 are left; 321.7 on the 7th, 419.8 are left;
    796.5 on the 13th are more than that. One day less is needed for what is planned last."""
    needs = [(1, "796.5"), (6, "321.7"), (12, "796.5")]
    assert out("1538", needs=needs) == 12
    assert out("1914.7", needs=needs) == 12
    assert out("1914.8", needs=needs) is None
    assert out("1118.2", needs=needs) == 6
    assert out("0", needs=[(3, "5")]) == 3


def test_what_was_planned_before_today_is_due_today() -> None:
    assert out("100", needs=[(-3, "60"), (0, "40")]) == 0
    assert out("100", needs=[(-3, "60"), (2, "40")]) == 2


def test_the_usual_use_counts_where_it_is_more_and_not_beside_what_is_planned() -> None:
    """By hand, of 1000 g: 100 a day are 700 by the 7th day, on which 800 are needed; 200 are left,
    and the usual use catches up with those 800 on the 8th day and takes the last of all on the
    10th. Of 50 a day 500 are used by the 10th day, 800 were, and 1000 would be on the 20th."""
    assert out("1000", "100", needs=[(6, "800")]) == 9
    assert out("1000", "50", needs=[(6, "800")]) == 19
    assert out("1000", "50", needs=[(6, "1000")]) == 6
    assert out("1000", "150", needs=[(6, "1000")]) == 6
    assert out("1000", "200", needs=[(6, "1000")]) == 4


def test_what_comes_counts_from_its_day() -> None:
    """By hand: 300 g last three days of 100; with 500 more on the third day, eight. What comes on
    the fourth comes too late, and what was to come before today is taken to come today."""
    assert out("300", "100", coming=[(2, "500")]) == 7
    assert out("300", "100", coming=[(3, "500")]) == 2
    assert out("300", "100", coming=[(-5, "500")]) == 7
    assert out("10", needs=[(4, "20")], coming=[(4, "20")]) is None
    assert out("10", needs=[(4, "20")], coming=[(4, "10")]) == 4
    assert out("0", needs=[(4, "20")], coming=[(5, "20")]) == 4


def test_what_ends_unused_is_there_no_longer_than_its_last_day() -> None:
    """By hand: 500 g that end on the third day are used up to 300, at 100 a day; of what lasts the
    400 then go from the fourth to the seventh. Promised, 450 of them go in time, and the need of
    the third day beside: 450 are used then, 850 are there, and the usual use has taken them on the
    ninth. Where that lot is all, nothing is left on the day after its last."""
    ends = lot(1, "500", 2)
    assert out("400", "100", lots=[ends]) == 6
    promised = DatedLot(UUID(int=1), D(500), day(2), D(450))
    assert out("400", "100", lots=[promised], needs=[(2, "450")]) == 8
    assert out("0", "100", lots=[ends]) == 3
    assert out("0", lots=[ends]) is None
    assert out("0", lots=[ends], needs=[(5, "10")]) == 5
    assert out("0", lots=[promised], needs=[(2, "450"), (9, "1")]) == 3


@given(
    there=st.integers(0, 3000),
    use=st.just(0) | st.integers(20, 300),
    needs=st.lists(st.tuples(st.integers(-3, 60), st.integers(1, 900)), max_size=6),
    coming=st.lists(st.tuples(st.integers(-3, 60), st.integers(1, 900)), max_size=4),
)
def test_it_is_the_first_day_that_one_finds_by_going_through_them(
    there: int, use: int, needs: list[tuple[int, int]], coming: list[tuple[int, int]]
) -> None:
    """Day by day, as one would with a calendar: a year holds all that can be drawn."""
    expected = None
    for number in range(365):
        has = there + sum(much for on, much in coming if on <= number)
        planned = sum(much for on, much in needs if on <= number)
        if max(planned, use * (number + 1)) >= has and (planned or use):
            expected = number
            break
    needed, comes = ([(on, str(much)) for on, much in one] for one in (needs, coming))
    assert out(str(there), str(use), needs=needed, coming=comes) == expected


def test_a_lot_that_ends_with_the_calendar_is_there() -> None:
    forever = DatedLot(UUID(int=1), D(100), date.max)
    assert out("0", lots=[forever]) is None
    assert out("0", "1", lots=[forever]) == 99


def test_what_is_needed_is_taken_of_what_ends_first_whether_promised_or_not() -> None:
    """By hand: 120 g on the 5th day take all of the first lot, which ends two days later, so the
    200 g last 200 days at 1 g a day. A need on a day on which it has ended takes none of it: by its
    end 7 g are used of it, and of the other 100 g none are left after the 120."""
    first, then = lot(1, "100", 6), lot(2, "100", 380)
    assert out("0", "1", needs=[(4, "120")], lots=[then, first]) == 199
    promised = [replace(first, promised=D(100)), replace(then, promised=D(20))]
    assert out("0", "1", needs=[(4, "120")], lots=promised) == 199
    assert out("0", "1", needs=[(7, "120")], lots=[first, then]) == 7


def test_what_is_promised_of_another_lot_is_not_taken_of_what_ends_first() -> None:
    """By hand: the 100 g on the 5th day are those of the lot without a last day, so the other 100 g
    go when they end. What is promised for a later day leaves the earlier one to what ends first."""
    first, last = lot(1, "100", 6), DatedLot(UUID(int=2), D(100), date.max, D(100))
    assert out("0", needs=[(4, "100")], lots=[first, last]) == 7
    later = replace(last, promised=D(99))
    assert out("0", needs=[(4, "100"), (40, "99")], lots=[first, later]) is None


def test_what_lots_have_beyond_their_promises_goes_to_what_else_is_needed() -> None:
    """By hand: of the 120 g on the 3rd day the first lot gives its 100, 60 of them promised, so the
    second gives 20 and 80 of it go unused. With 50 g that last there are 170, 17 days of 10."""
    promised = DatedLot(UUID(int=1), D(100), day(3), D(60))
    assert out("50", "10", needs=[(2, "120")], lots=[promised, lot(2, "100", 5)]) == 16


def test_what_is_needed_on_the_last_day_of_a_lot_is_taken_of_it() -> None:
    """By hand: all of it goes then, and the 150 g are 15 days of 10. Needed a day later, it gives
    the use of six days, 40 g of it go unused, and the other 110 are 11 days."""
    ends = lot(1, "100", 5)
    assert out("50", "10", needs=[(5, "100")], lots=[ends]) == 14
    assert out("50", "10", needs=[(6, "100")], lots=[ends]) == 10


def test_nothing_is_told_of_the_day_after_the_furthest() -> None:
    """What is left of a lot is gone on the day after its last."""
    needs = [(5, "10")]
    assert out("0", needs=needs, lots=[lot(1, "100", 3649)]) == 3650
    assert out("0", needs=needs, lots=[lot(1, "100", 3650)]) is None
