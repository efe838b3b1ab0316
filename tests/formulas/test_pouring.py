"""What is still to be poured of picked lots is never more than was picked, nor than is wanted."""

from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from formulas.pouring import still_to_pour
from tests.factories import D

FIRST, SECOND, THIRD = (UUID(int=number) for number in (1, 2, 3))
GRAMS = st.decimals(min_value=0, max_value=1000, places=2)


def test_what_is_in_is_taken_off() -> None:
    picks = [(FIRST, D(80)), (SECOND, D(20))]
    assert still_to_pour(picks, {}, D(100)) == [80, 20]
    assert still_to_pour(picks, {FIRST: D(30)}, D(70)) == [50, 20]
    assert still_to_pour(picks, {FIRST: D(80)}, D(20)) == [0, 20]
    assert still_to_pour(picks, {FIRST: D(85)}, D(15)) == [0, 15]
    # Another lot went in instead: the last that was picked is not needed.
    assert still_to_pour(picks, {THIRD: D(90)}, D(10)) == [10, 0]
    # What was weighed back is wanted again, and no more of a lot than was picked.
    assert still_to_pour(picks, {FIRST: D(-5)}, D(105)) == [80, 20]


@given(st.lists(GRAMS, max_size=3), st.lists(GRAMS, max_size=3), GRAMS)
def test_no_more_than_was_picked_and_than_is_wanted(
    picked: list[D], poured: list[D], still: D
) -> None:
    lots = [FIRST, SECOND, THIRD]
    left = still_to_pour(
        list(zip(lots, picked, strict=False)), dict(zip(lots, poured, strict=False)), still
    )
    assert len(left) == len(picked)
    assert sum(left, D(0)) <= still
    assert all(0 <= grams <= most for grams, most in zip(left, picked, strict=True))
