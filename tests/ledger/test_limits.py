"""Limits of a specification at their very edges, and as they are told."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.limits import Limit, inside

figures = st.decimals(-100, 100, places=2)


@pytest.mark.parametrize(
    ("limit", "told"),
    [
        (Limit("pH", D("5.00"), D("6.50")), "5 to 6.5"),
        (Limit("acid value", high=D("5.0"), unit="mg/g"), "at most 5 mg/g"),
        (Limit("assay", low=D(98), unit="%"), "at least 98 %"),
        (Limit("assay", low=D(0), high=D("1E+2"), unit="%"), "0 to 100 %"),
        (Limit("appearance", text="clear, pale"), '"clear, pale"'),
    ],
)
def test_a_limit_is_told(limit: Limit, told: str) -> None:
    limit.check("")
    assert str(limit) == told


def test_a_single_figure_may_be_both_limits() -> None:
    Limit("pH", D(5), D(5)).check("")
    assert inside(Limit("pH", D(5), D(5)), D("5.00"), "", "")


@given(low=figures, high=figures, value=figures)
def test_the_limits_themselves_agree(low: D, high: D, value: D) -> None:
    """Each side alone, and both together."""
    assert inside(Limit("pH", low=low), value, "", "") == (value >= low)
    assert inside(Limit("pH", high=high), value, "", "") == (value <= high)
    assert inside(Limit("pH", low, high), value, "", "") == (low <= value <= high)
    assert inside(Limit("pH", low, high), low, "", "") == (low <= high)


def test_the_unit_may_be_left_out_or_be_the_right_one() -> None:
    limit = Limit("acid value", high=D(5), unit="mg/g")
    assert inside(limit, D(5), "", "")
    assert inside(limit, D(5), "", "mg/g")


@pytest.mark.parametrize(
    ("text", "agrees"),
    [("Clear,  pale", True), (" clear, PALE ", True), ("clear", False), ("clear , pale", False)],
)
def test_texts_agree_but_for_capitals_and_spaces(text: str, agrees: bool) -> None:
    assert inside(Limit("appearance", text="clear,  Pale"), None, text, "") == agrees
