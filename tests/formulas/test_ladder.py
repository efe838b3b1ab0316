"""A ladder of prices: margin or markup, fees, tax apart, endings, below cost, break-even."""

from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.errors import BelowCost, PriceImpossible
from formulas.ladder import (
    Channel,
    ChannelPrice,
    Direction,
    Ending,
    Including,
    Listed,
    break_even_of,
    end_price,
    price_channel,
    refuse_below_cost,
)
from ledger.errors import Invalid
from tests.refusing import assert_refused


def priced(cost: str = "2.35", currency: str = "USD", **terms: Any) -> ChannelPrice:
    return price_channel(Channel("Shop", **terms), D(cost), currency)


def test_a_shelf_price_with_fees_keeps_the_margin() -> None:
    """(2.35 + 0.30) ÷ (1 - 0.60 - 0.065) = 7.9104; on the list 7.92."""
    shop = priced(margin_percent=D(60), fee_percent=D("6.5"), fixed_fee=D("0.30"))
    assert (shop.price, shop.margin_percent) == (D("7.910448"), D(60))
    assert (shop.listed.net, shop.listed.tax, shop.listed.gross) == (D("7.92"), D(0), D("7.92"))
    assert shop.listed.fees == D("0.8148")
    assert shop.listed.left == D("7.92") - D("0.8148") - D("2.35") == D("4.7552")
    assert shop.listed.margin_percent == D("60.040404")


def test_a_markup_is_never_taken_for_a_margin() -> None:
    markup, margin = priced(markup_percent=D(60)), priced(margin_percent=D(60))
    assert (markup.price, margin.price) == (D("3.76"), D("5.875"))
    assert (markup.margin_percent, markup.markup_percent) == (D("37.5"), D(60))
    assert (margin.margin_percent, margin.markup_percent) == (D(60), D(150))
    wrong: list[dict[str, Any]] = [
        {"markup_percent": D(60), "margin_percent": D(60)},
        {"markup_percent": D(60), "price": D(5)},
        {},
    ]
    for terms in wrong:
        with pytest.raises(Invalid, match="exactly one"):
            priced(**terms)


def test_tax_stands_apart_and_adds_up() -> None:
    """5.875 net is 7.05 with 20 %; it ends in .95 at 7.95, of which 6.63 (6.625, half-even
    6.62) is the maker's."""
    ending = Ending(D(1), D("0.95"))
    shop = priced(margin_percent=D(60), tax_percent=D(20), ending=ending)
    assert shop.price == D("5.875")
    assert (shop.listed.gross, shop.listed.net, shop.listed.tax) == (
        D("7.95"),
        D("6.62"),
        D("1.33"),
    )
    net = priced(margin_percent=D(60), tax_percent=D(20), ending=ending, shown=Including.NET)
    assert (net.listed.net, net.listed.tax, net.listed.gross) == (D("5.95"), D("1.19"), D("7.14"))


def test_a_given_price_is_what_the_list_shows() -> None:
    """12.00 with 20 % in it is 10.00 net; of 12.00 the card takes 5 % and 0.25, which is 0.85.

    (10 - 0.85 - 2.35) ÷ 10 = 68 %; (10 - 2.35) ÷ 2.35 = 325.531915 %. Of 10.00 it takes 0.75.
    """
    terms: dict[str, Any] = {
        "price": D("12.00"),
        "tax_percent": D(20),
        "fee_percent": D(5),
        "fixed_fee": D("0.25"),
    }
    assert priced(**terms, fee_on=Including.GROSS) == ChannelPrice(
        name="Shop",
        unit_cost=D("2.35"),
        price=D(10),
        margin_percent=D(68),
        markup_percent=D("325.531915"),
        listed=Listed(
            net=D(10),
            tax=D(2),
            gross=D(12),
            fees=D("0.85"),
            left=D("6.80"),
            margin_percent=D(68),
            markup_percent=D("325.531915"),
        ),
    )
    net = priced(**terms, shown=Including.NET)
    assert (net.price, net.listed.net, net.listed.gross) == (D(12), D(12), D("14.40"))
    assert (net.listed.fees, net.margin_percent) == (D("0.85"), D("73.333333"))
    assert priced(**{**terms, "tax_percent": D(100)}).price == D(6)


def test_a_fee_on_what_the_card_is_charged_is_taken_with_the_tax() -> None:
    """2.35 ÷ (1 - 0.50 - 0.10 · 1.20) = 6.184211."""
    shop = priced(
        margin_percent=D(50), fee_percent=D(10), tax_percent=D(20), fee_on=Including.GROSS
    )
    assert shop.price == D("6.184211")
    assert shop.listed.fees == shop.listed.gross / 10
    assert abs(shop.listed.margin_percent - 50) < D("0.1")


@pytest.mark.parametrize(
    ("price", "every", "ends_in", "direction", "expected"),
    [
        ("7.91", "1", "0.49", "up", "8.49"),
        ("8.49", "1", "0.49", "up", "8.49"),
        ("7.91", "1", "0.95", "up", "7.95"),
        ("7.96", "1", "0.95", "nearest", "7.95"),
        ("7.96", "1", "0", "up", "8"),
        ("7.96", "0.05", "0", "up", "8.00"),
        ("7.96", "0.05", "0", "down", "7.95"),
        ("7.45", "1", "0.95", "nearest", "7.95"),
        ("0.10", "1", "0", "down", "1"),
        ("0.10", "1", "0.95", "down", "0.95"),
        ("91", "10", "9", "up", "99"),
    ],
)
def test_endings(price: str, every: str, ends_in: str, direction: str, expected: str) -> None:
    ending = Ending(D(every), D(ends_in), Direction(direction))
    assert end_price(Fraction(price), ending) == D(expected)


@pytest.mark.parametrize(
    ("ending", "pointer"),
    [
        (Ending(D(0)), "/ending/every"),
        (Ending(D("NaN")), "/ending/every"),
        (Ending(D(1), D(1)), "/ending/ends_in"),
        (Ending(D(1), D("-0.05")), "/ending/ends_in"),
        (Ending(D("0.005")), "/ending/ends_in"),
    ],
)
def test_endings_that_cannot_be(ending: Ending, pointer: str) -> None:
    with pytest.raises(Invalid) as refusal:
        priced(cost="2.351", markup_percent=D(0), ending=ending)
    assert refusal.value.pointer == pointer


def test_a_price_below_cost_is_refused_by_what_is_left_after_the_fees() -> None:
    sold = priced(price=D("2.50"), fee_percent=D(10))
    assert (sold.received, sold.listed.left, sold.below_cost) == (D("2.25"), D("-0.10"), True)
    with pytest.raises(BelowCost, match=r"2\.25.* after fees .*2\.35") as refused:
        refuse_below_cost(sold)
    assert refused.value.facts == {
        "name": "Shop",
        "net": D("2.50"),
        "received": D("2.25"),
        "unit_cost": D("2.35"),
    }
    refuse_below_cost(priced(price=D("2.35")))
    with pytest.raises(BelowCost):
        refuse_below_cost(priced(markup_percent=D(0), fixed_fee=D("0.01")))


def test_margin_and_fees_on_the_gross_price_that_leave_nothing() -> None:
    with pytest.raises(PriceImpossible):
        priced(margin_percent=D(90), fee_percent=D(9), tax_percent=D(20), fee_on=Including.GROSS)


def test_the_least_coin_may_be_all_tax() -> None:
    """Of 0.01 with 100 % in it 0.005 would be net, which is no coin."""
    assert_refused(
        lambda: priced(cost="0.005", price=D("0.01"), tax_percent=D(100)),
        Invalid,
        "/ending",
        "This rounds to a price of nothing.",
    )
    assert priced(cost="0.005", price=D("0.01")).listed.net == D("0.01")


def test_a_currency_without_coins_has_whole_prices() -> None:
    sold = priced(cost="235.5", currency="JPY", margin_percent=D(60), tax_percent=D(10))
    assert (sold.listed.gross, sold.listed.net, sold.listed.tax) == (D(648), D(589), D(59))


def test_break_even_in_units_and_batches() -> None:
    """5.00 received less 2.00 is 3.00 a unit: 1,000 are paid by 334 units, six batches of 60."""
    sold = price_channel(Channel("Shop", price=D(5)), D(2), "USD")
    volume = break_even_of(sold, D(1000), batch_units=60)
    assert volume is not None
    assert (volume.units, volume.whole_units, volume.batches) == (D("333.333333"), 334, 6)
    assert volume.sales == D("1666.666665")
    more = break_even_of(sold, D(1000), target_profit=D(500), variable_cost=D(0))
    assert more is not None
    assert (more.whole_units, more.batches) == (300, None)
    assert break_even_of(sold, D(1000), variable_cost=D(5)) is None


money = st.decimals("0.01", 10**4, places=4)
percent = st.decimals(0, 45, places=2)


@given(money, percent, percent, percent, st.booleans(), st.booleans())
def test_the_list_adds_up_and_stays_by_its_price(
    cost: D, margin: D, fee: D, tax: D, fee_on_gross: bool, gross_shown: bool
) -> None:
    channel = Channel(
        "Shop",
        margin_percent=margin,
        fee_percent=fee,
        tax_percent=tax,
        fee_on=Including.GROSS if fee_on_gross else Including.NET,
        shown=Including.GROSS if gross_shown else Including.NET,
    )
    try:
        sold = price_channel(channel, cost, "USD")
    except PriceImpossible:
        assert fee_on_gross
        return
    listed = sold.listed
    assert listed.net + listed.tax == listed.gross
    assert listed.net == listed.net.quantize(D("0.01"))
    assert listed.left + listed.fees + cost == listed.net
    # The shown price goes up by less than a coin; taking the tax out rounds by half a coin more.
    assert D("-0.006") < listed.net - sold.price < D("0.016")
    assert abs(listed.tax - listed.net * tax / 100) <= D("0.01")


@given(money, st.sampled_from(["0.05", "0.5", "1", "5"]), st.sampled_from(["0", "0.49", "0.95"]))
def test_an_ending_up_is_the_least_that_is_not_below(price: D, every: str, ends_in: str) -> None:
    if D(ends_in) >= D(every):
        return
    ended = end_price(Fraction(price), Ending(D(every), D(ends_in)))
    assert price <= ended < price + 2 * D(every)
    assert (Fraction(ended) - Fraction(ends_in)) / Fraction(every) % 1 == 0
