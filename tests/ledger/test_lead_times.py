"""Lead times as deliveries show them."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Invalid
from ledger.lead_times import Measured, days_to_plan_by, measured_lead_time
from ledger.reordering import LeadTime


def test_mean_and_spread_are_of_the_deliveries() -> None:
    """9, 7 and 11 days: mean 9, squared distances 0, 4 and 4, sqrt(8 / 2) = 2."""
    found = measured_lead_time([9, 7, 11])
    assert found == Measured(3, LeadTime(D(9), D(2)), 7, 11)


def test_one_delivery_has_no_spread_and_none_has_no_time() -> None:
    assert measured_lead_time([4]) == Measured(1, LeadTime(D(4), D(0)), 4, 4)
    assert measured_lead_time([]) is None


def test_two_deliveries_have_a_spread() -> None:
    """4 and 6 days lie 1 from 5: sqrt(2 / 1)."""
    found = measured_lead_time([4, 6])
    assert found is not None
    assert found.time == LeadTime(D(5), D(2).sqrt())


def test_nothing_comes_before_it_is_ordered() -> None:
    assert measured_lead_time([0]) is not None
    with pytest.raises(Invalid, match=r"^Goods cannot come before they are ordered\.$"):
        measured_lead_time([3, -1])


def test_what_is_planned_by() -> None:
    """The measured mean in whole days up, once three deliveries tell; else what is stated first."""
    three, two = measured_lead_time([9, 9, 10]), measured_lead_time([9, 9])
    assert days_to_plan_by(three, 4, 5) == 10
    assert days_to_plan_by(measured_lead_time([9, 7, 11])) == 9
    assert days_to_plan_by(two, 4, 5) == 4
    assert days_to_plan_by(two, None, 5) == 5
    assert days_to_plan_by(None, 0, 5) == 0
    assert days_to_plan_by(two, None) is None


@given(st.lists(st.integers(0, 400), min_size=1, max_size=40))
def test_the_mean_lies_among_the_deliveries(days: list[int]) -> None:
    found = measured_lead_time(days)
    assert found is not None
    assert found.shortest <= found.time.mean <= found.longest
    assert 0 <= found.time.spread <= 400
