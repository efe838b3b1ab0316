"""Prices from margin and markup, contribution and break-even."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.errors import PriceImpossible
from formulas.pricing import (
    break_even,
    contribution,
    cost_for_markup,
    margin_from_markup,
    markup_from_margin,
    markup_percent,
    price_for_margin,
    price_for_markup,
    profit_at,
)
from ledger.errors import Invalid


def test_shelf_price_with_fees() -> None:
    # Worked example, recomputed by hand: (2.35 + 0.30) ÷ (1 - 0.60 - 0.065) = 7.9104.
    priced = price_for_margin(D("2.35"), D(60), fee_percent=D("6.5"), fixed_fee=D("0.30"))
    assert priced.price == D("7.910448")
    assert priced.margin_percent == 60
    kept = priced.price * (1 - D("0.065")) - D("2.65")
    assert round(kept / priced.price, 5) == D("0.60000")


def test_a_markup_taken_for_a_margin_is_far_too_cheap() -> None:
    assert price_for_markup(D("2.35"), D(60)) == D("3.76")
    assert price_for_margin(D("2.35"), D(60)).price == D("5.875")


def test_without_fees_markup_and_margin_say_the_same() -> None:
    assert price_for_margin(D("2.00"), D(60)).markup_percent == markup_from_margin(D(60)) == 150
    assert margin_from_markup(D(150)) == 60


@pytest.mark.parametrize(("margin", "fee"), [("100", "0"), ("60", "40"), ("0", "101")])
def test_margin_and_fees_that_leave_nothing_are_refused(margin: str, fee: str) -> None:
    with pytest.raises(PriceImpossible) as refused:
        price_for_margin(D(1), D(margin), fee_percent=D(fee))
    assert refused.value.pointer == "/margin_percent"
    with pytest.raises(PriceImpossible):
        markup_from_margin(D(100))


def test_the_refusal_names_the_percent_as_people_write_it() -> None:
    with pytest.raises(PriceImpossible, match=r"take 100 % of"):
        price_for_margin(D(1), D("93.5"), fee_percent=D("6.5"))


@pytest.mark.parametrize("bad", ["-0.01", "NaN", "Infinity"])
def test_figures_that_cannot_be(bad: str) -> None:
    with pytest.raises(Invalid):
        price_for_margin(D(bad), D(60))
    with pytest.raises(Invalid):
        price_for_margin(D(1), D(bad))
    with pytest.raises(Invalid):
        price_for_margin(D(1), D(1), fee_percent=D(bad))
    with pytest.raises(Invalid):
        price_for_margin(D(1), D(1), fixed_fee=D(bad))
    with pytest.raises(Invalid):
        price_for_markup(D(1), D(bad))
    with pytest.raises(Invalid):
        cost_for_markup(D(bad), D(1))
    with pytest.raises(Invalid):
        markup_from_margin(D(bad))
    with pytest.raises(Invalid):
        margin_from_markup(D(bad))
    with pytest.raises(Invalid):
        contribution(D(bad), D(1))
    with pytest.raises(Invalid):
        break_even(D(bad), D(2), D(1))


def test_no_markup_on_a_cost_of_nothing() -> None:
    with pytest.raises(Invalid, match="above zero"):
        markup_percent(D(0), D(1))


def test_break_even_in_whole_units_is_never_too_few() -> None:
    volume = break_even(D(1000), D(10), D(7))
    assert volume.units == D("333.333333")
    assert volume.whole_units == 334
    assert volume.sales == D("3333.333333")
    assert profit_at(D(334), fixed_cost=D(1000), price=D(10), variable_cost=D(7)) == 2
    assert profit_at(D(333), fixed_cost=D(1000), price=D(10), variable_cost=D(7)) == -1


def test_a_unit_that_loses_money_never_breaks_even() -> None:
    for price in ("7", "6.99"):
        with pytest.raises(Invalid, match="no volume"):
            break_even(D(1000), D(price), D(7))
    assert contribution(D(5), D(7)).per_unit == -2


costs = st.decimals("0.01", 10**4, places=4)
percents = st.decimals(0, 300, places=2)


@given(costs, percents)
def test_cost_and_price_go_back_and_forth(cost: D, markup: D) -> None:
    price = price_for_markup(cost, markup)
    assert abs(cost_for_markup(price, markup) - cost) <= D("0.000001")
    assert abs(markup_percent(cost, price) - markup) <= D("0.01")


@given(percents)
def test_margin_and_markup_go_back_and_forth(markup: D) -> None:
    assert abs(markup_from_margin(margin_from_markup(markup)) - markup) <= D("0.0001")


@given(costs, st.decimals(0, 60, places=2), st.decimals(0, 30, places=2), costs)
def test_what_is_left_after_cost_and_fees_is_the_margin(
    cost: D, margin: D, fee: D, fixed_fee: D
) -> None:
    priced = price_for_margin(cost, margin, fee_percent=fee, fixed_fee=fixed_fee)
    kept = priced.price * (1 - fee / 100) - cost - fixed_fee
    assert abs(kept - priced.price * margin / 100) <= D("0.000001")


def test_small_prices_are_prices() -> None:
    """Half a unit of money left by each pays one after two of them."""
    assert contribution(D("0.5"), D("0.25")).ratio == D("0.5")
    assert break_even(D(1), D("0.75"), D("0.25")).whole_units == 2


def test_a_price_tells_the_cost_that_it_is_built_on() -> None:
    assert price_for_margin(D(4), D(60)).unit_cost == 4
