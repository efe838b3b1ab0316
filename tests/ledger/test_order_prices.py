"""What was paid against what was agreed."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import QuantityNotPositive
from ledger.order_prices import agreed_price, price_variance

D = Decimal


def test_a_part_is_judged_by_its_share_of_the_agreed_price() -> None:
    """20 kg agreed at 100.00; 8 kg come for 44.00, 4.00 more than their 40.00."""
    assert agreed_price(D("100.00"), D(20000), D(8000)) == D("40.000000")
    assert price_variance(D("44.00"), D("40.000000")) == D("4.000000")
    assert price_variance(D("38.50"), D("40.000000")) == D("-1.500000")


def test_what_comes_beyond_the_order_is_taken_at_its_price() -> None:
    assert agreed_price(D("100.00"), D(20000), D(25000)) == D("125.000000")


def test_a_price_that_does_not_divide_is_rounded_once_away_from_zero() -> None:
    """10.00 / 3 of a piece; and a tie, 0.000001 / 2."""
    assert agreed_price(D(10), D(3), D(1)) == D("3.333333")
    assert agreed_price(D("0.000001"), D(2), D(1)) == D("0.000001")


@pytest.mark.parametrize("ordered", ["0", "-1"])
def test_nothing_ordered_has_no_price(ordered: str) -> None:
    with pytest.raises(QuantityNotPositive):
        agreed_price(D(10), D(ordered), D(1))


amounts = st.decimals("0.01", "99999", places=2)


@given(price=amounts, ordered=amounts)
def test_all_of_it_at_the_agreed_price_varies_by_nothing(price: Decimal, ordered: Decimal) -> None:
    assert price_variance(price, agreed_price(price, ordered, ordered)) == 0
