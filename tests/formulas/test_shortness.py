"""Which batches go short when several want the same, reckoned by hand and as a property."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from formulas.shortness import FreeLot, Lack, short_of

D = Decimal
TODAY = date(2026, 7, 1)
FIRST, SECOND, THIRD = (UUID(int=n) for n in (1, 2, 3))


def day(number: int) -> date:
    return TODAY + timedelta(days=number)


def test_whoever_comes_first_is_served_first() -> None:
    lacks = [Lack(SECOND, day(5), D(300)), Lack(FIRST, day(2), D(400))]
    assert short_of(lacks, [FreeLot(D(500), None)], D(0)) == {SECOND: D(200)}
    assert short_of(lacks, [FreeLot(D(700), None)], D(0)) == {}


def test_a_lot_that_has_ended_by_then_is_no_help() -> None:
    lacks = [Lack(FIRST, day(2), D(100)), Lack(SECOND, day(5), D(100))]
    assert short_of(lacks, [FreeLot(D(500), day(4))], D(0)) == {SECOND: D(100)}
    assert short_of(lacks, [FreeLot(D(500), day(5))], D(0)) == {}


def test_the_lot_that_ends_first_is_taken_first() -> None:
    """The early batch takes from the lot that the late one could not use."""
    lacks = [Lack(FIRST, day(1), D(100)), Lack(SECOND, day(9), D(100))]
    free = [FreeLot(D(100), None), FreeLot(D(100), day(3))]
    assert short_of(lacks, free, D(0)) == {}


def test_what_is_on_order_comes_after_what_is_there() -> None:
    lacks = [Lack(FIRST, day(1), D(100)), Lack(SECOND, day(2), D(100)), Lack(THIRD, day(3), D(50))]
    assert short_of(lacks, [FreeLot(D(60), None)], D(150)) == {THIRD: D(40)}


@given(
    wanted=st.lists(st.tuples(st.integers(0, 30), st.integers(1, 1000)), min_size=1, max_size=6),
    there=st.lists(st.tuples(st.integers(0, 1000), st.none() | st.integers(-3, 30)), max_size=5),
    coming=st.integers(0, 1000),
)
def test_no_more_is_given_than_there_is(
    wanted: list[tuple[int, int]], there: list[tuple[int, int | None]], coming: int
) -> None:
    lacks = [Lack(UUID(int=n), day(on), D(much)) for n, (on, much) in enumerate(wanted)]
    free = [FreeLot(D(much), None if end is None else day(end)) for much, end in there]
    short = short_of(lacks, free, D(coming))
    asked = sum((one.quantity for one in lacks), D(0))
    lacking = sum(short.values(), D(0))
    usable = sum((lot.quantity for lot in free), D(0)) + coming
    assert asked - lacking <= usable
    assert all(0 < short[one.batch] <= one.quantity for one in lacks if one.batch in short)
    never = [lot for lot in free if lot.last_day is None]
    assert lacking <= max(D(0), asked - sum((lot.quantity for lot in never), D(coming)))
