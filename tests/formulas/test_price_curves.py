"""Margin against price: where it is none, and that it agrees with the ladder."""

from decimal import Decimal as D

from hypothesis import given
from hypothesis import strategies as st

from formulas.ladder import Channel, Including, price_channel
from formulas.price_curves import STEPS, curves_of, even_price, margin_at

SHOP = Channel("Shop", price=D("7.92"), fee_percent=D("6.5"), fixed_fee=D("0.30"))


def test_the_even_price_pays_for_the_unit_and_the_fees() -> None:
    """(2.35 + 0.30) ÷ (1 - 0.065); on a gross price with 20 % tax the fee weighs 7.8 %."""
    assert even_price(SHOP, D("2.35")) == D("2.834225")
    gross = Channel("Shop", fee_percent=D("6.5"), tax_percent=D(20), fee_on=Including.GROSS)
    assert even_price(gross, D("2.35")) == D("2.548807")
    assert even_price(Channel("Shop", fee_percent=D(100)), D(1)) is None


def test_the_margin_of_a_listed_price_is_that_of_the_ladder() -> None:
    listed = price_channel(SHOP, D("2.35"), "USD").listed
    assert margin_at(SHOP, D("2.35"), listed.net) == listed.margin_percent == D("60.040404")


def test_curves_go_over_the_same_prices_past_all_that_is_marked() -> None:
    plain = Channel("Market", price=D("4.00"))
    priced = [(one, price_channel(one, D("2.35"), "USD")) for one in (SHOP, plain)]
    shop, market = curves_of(priced, D("2.35"))
    assert (shop.name, market.name) == ("Shop", "Market")
    assert [net for net, _ in shop.points] == [net for net, _ in market.points]
    assert len(shop.points) == STEPS + 1
    # Three quarters of what the market's unit costs, and a quarter above the shop's price.
    assert (shop.points[0][0], shop.points[-1][0]) == (D("1.7625"), D("9.9"))
    assert (shop.even, market.even) == (D("2.834225"), D("2.35"))
    assert market.listed == (D("4.00"), D("41.25"))
    assert curves_of([], D(1)) == ()


@given(
    cost=st.decimals("0.01", "500", places=2),
    fee=st.decimals("0", "90", places=1),
    fixed=st.decimals("0", "9", places=2),
)
def test_the_margin_is_none_at_the_even_price_and_grows_with_it(cost: D, fee: D, fixed: D) -> None:
    channel = Channel("Shop", fee_percent=fee, fixed_fee=fixed)
    even = even_price(channel, cost)
    assert even is not None
    assert abs(margin_at(channel, cost, even)) < D("0.02")
    assert margin_at(channel, cost, even * D("1.1")) > 0 > margin_at(channel, cost, even * D("0.9"))
