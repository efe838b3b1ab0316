"""What packs cost: breaks of all units, freight, another currency."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Invalid, MassMissing, MoneyTooLarge
from ledger.offer_prices import (
    Freight,
    FreightKind,
    PackBreak,
    below_minimum,
    check_breaks,
    cost_of,
    freight_of,
    in_own_currency,
    packs_for,
    price_at,
    rise_percent,
    unit_price,
)

# Packs of a kilogram: 1-24 at 5.20, 25-49 at 4.60, 50 and more at 4.10, 75 and more at 3.80;
# freight is 28 and free from 200 on.
PACK, PRICE = D(1000), D("5.20")
BREAKS = [
    PackBreak(D(25_000), D("4.60")),
    PackBreak(D(50_000), D("4.10")),
    PackBreak(D(75_000), D("3.80")),
]
FREIGHT = Freight(FreightKind.FLAT, D(28), D(200))


def order(packs: int) -> D:
    """Goods and freight of an order of so many kilograms."""
    goods = cost_of(packs, pack=PACK, price=PRICE, breaks=BREAKS)
    return goods + freight_of(FREIGHT, goods=goods, grams=packs * PACK)


@pytest.mark.parametrize(
    ("packs", "whole"),
    [(38, "202.80"), (44, "202.40"), (50, "205.00"), (75, "285.00"), (24, "152.80"), (25, "143")],
)
def test_an_order_costs_what_the_list_says(packs: int, whole: str) -> None:
    assert order(packs) == D(whole)


def test_twelve_kilograms_more_for_two_twenty() -> None:
    assert order(50) - order(38) == D("2.20")
    # Of 75 only 54 would be used in time.
    assert round(order(75) / 54, 2) == D("5.28")


@pytest.mark.parametrize(
    ("packs", "price"),
    [
        (0, "5.20"),
        (1, "5.20"),
        (24, "5.20"),
        (25, "4.60"),
        (49, "4.60"),
        (50, "4.10"),
        (75, "3.80"),
    ],
)
def test_a_break_begins_at_its_quantity(packs: int, price: str) -> None:
    assert price_at(packs, pack=PACK, price=PRICE, breaks=BREAKS) == D(price)


@pytest.mark.parametrize(
    ("freight", "goods", "grams", "amount"),
    [
        (Freight(FreightKind.NONE), "10", "5000", "0"),
        (Freight(FreightKind.FLAT, D(28)), "1000000", "5000", "28"),
        (Freight(FreightKind.FLAT, D(28), D(200)), "199.99", "5000", "28"),
        (Freight(FreightKind.FLAT, D(28), D(200)), "200", None, "0"),
        (Freight(FreightKind.MASS, D("1.20")), "10", "5500", "6.60"),
        (Freight(FreightKind.MASS, D("1.20"), D(50)), "50", "5500", "0"),
    ],
)
def test_freight(freight: Freight, goods: str, grams: str | None, amount: str) -> None:
    assert freight_of(freight, goods=D(goods), grams=None if grams is None else D(grams)) == D(
        amount
    )


def test_freight_by_mass_needs_a_mass() -> None:
    with pytest.raises(MassMissing, match=r"^Freight by mass needs the mass of one piece: give m"):
        freight_of(Freight(FreightKind.MASS, D(1)), goods=D(1), grams=None)


def test_breaks_begin_above_one_pack_rise_and_lower_the_price() -> None:
    check_breaks(pack=PACK, price=PRICE, breaks=BREAKS)
    check_breaks(pack=PACK, price=PRICE, breaks=[])
    for steps, pointer in (
        ([PackBreak(PACK, D(5))], "/0/at_least"),
        ([PackBreak(D(2000), PRICE)], "/0/price"),
        ([*BREAKS, PackBreak(D(75_000), D("3.70"))], "/3/at_least"),
        ([BREAKS[0], PackBreak(D(50_000), D("4.60"))], "/1/price"),
    ):
        with pytest.raises(Invalid) as refused:
            check_breaks(pack=PACK, price=PRICE, breaks=steps)
        assert refused.value.pointer == pointer
        assert str(refused.value) == (
            "Breaks begin above one pack and rise: give each the quantity that it starts at."
            if pointer.endswith("at_least")
            else "A break lowers the price of a pack: give the price of one pack, not of the order."
        )


def test_another_currency_is_kept_at_the_rate_of_the_day() -> None:
    assert in_own_currency(D("4.90"), D("1.0845")) == D("5.314050")
    # Half a millionth goes to the even one.
    assert in_own_currency(D("0.000015"), D("0.1")) == D("0.000002")
    assert in_own_currency(D("0.000025"), D("0.1")) == D("0.000002")
    assert in_own_currency(D(0), D(2)) == 0
    with pytest.raises(
        Invalid, match=r"^At this rate nothing is left of the amount; check the rate"
    ):
        in_own_currency(D("0.000001"), D("0.1"))
    # No digit is lost before the sixth decimal.
    large = D("123456789012.345678")
    assert in_own_currency(large, D("1.000000001")) == D("123456789135.802467")
    with pytest.raises(MoneyTooLarge):
        in_own_currency(D(10**9), D(1000))
    assert in_own_currency(D(10**9), D("999.999999")) == D("999999999000")


def test_a_price_is_compared_by_the_kilogram_or_the_piece() -> None:
    # Four gallons of 1.26 g/mL at 186.00.
    assert unit_price(D(186), D("19078.475389"), counted=False) == D("9.749207")
    assert unit_price(D("42.50"), D(1000), counted=True) == D("0.042500")
    # Half a millionth goes to the even one.
    assert unit_price(D("0.000025"), D(10), counted=True) == D("0.000002")


@pytest.mark.parametrize(
    ("quantity", "packs"),
    [("0", 0), ("-5", 0), ("0.000001", 1), ("1000", 1), ("1000.000001", 2), ("38000", 38)],
)
def test_whole_packs(quantity: str, packs: int) -> None:
    assert packs_for(D(quantity), PACK) == packs


@given(
    st.decimals(min_value="0.000001", max_value=10**9, places=6),
    st.decimals(min_value="0.000001", max_value=10**6, places=6),
)
def test_packs_hold_what_is_wanted_and_one_fewer_does_not(quantity: D, pack: D) -> None:
    packs = packs_for(quantity, pack)
    assert packs * pack >= quantity > (packs - 1) * pack


@given(st.integers(0, 200))
def test_a_break_lowers_the_price_of_every_pack(packs: int) -> None:
    goods = cost_of(packs, pack=PACK, price=PRICE, breaks=BREAKS)
    assert D("3.80") * packs <= goods <= PRICE * packs


def test_what_lacks_of_a_minimum() -> None:
    assert below_minimum(D(100), goods=D("99.50")) == D("0.50")
    assert below_minimum(D(100), goods=D(100)) == 0
    assert below_minimum(None, goods=D(0)) == 0


def test_a_rise_in_percent() -> None:
    assert rise_percent(D(10), D(11)) == 10
    assert rise_percent(D("9.749207"), D("9.749207")) == 0
    assert rise_percent(D(10), D("7.5")) == -25
