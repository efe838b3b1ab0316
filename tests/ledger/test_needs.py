"""Netting, patterns of use and forecasts, where no book says the figure."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Invalid
from ledger.lot_sizing import (
    Break,
    LotSize,
    cost_at,
    economic_quantity,
    economic_quantity_with_breaks,
)
from ledger.netting import Need, Netted, net_requirements
from ledger.reordering import (
    LeadTime,
    Reorder,
    Use,
    fill_rate,
    order_up_to,
    quantile,
    reorder,
    reorder_point,
)
from ledger.usage import Pattern, Usage, croston, croston_corrected, describe, fading, forecast

GRAMS = st.integers(0, 5000).map(D)


@given(
    st.lists(st.tuples(GRAMS, GRAMS), min_size=1, max_size=12),
    st.integers(-3000, 3000).map(D),
    GRAMS,
    st.integers(0, 14),
)
def test_netting_covers_every_period_and_orders_no_more(
    needs: list[tuple[D, D]], usable: D, safety: D, lead: int
) -> None:
    record = net_requirements(
        [Need(*one) for one in needs], usable=usable, safety=safety, lead_periods=lead
    )
    left = usable
    for one in record:
        left += one.scheduled + one.net - one.gross
        assert one.projected == left >= safety
        assert one.net == 0 or left == safety
    assert sum(one.release for one in record) == sum(one.net for one in record)
    assert record[0].late == sum(one.net for one in record[:lead])
    assert not any(one.late for one in record[1:])


def test_a_record_worked_by_hand() -> None:
    """70 usable, 20 kept as safety, two periods of lead time: 40, then 60 with 30 arriving, 50.

    The first leaves 30 and needs nothing; 30 + 30 - 60 is 20 short of what is kept; then all 50.
    """
    record = net_requirements(
        [Need(D(40)), Need(D(60), D(30)), Need(D(50))], usable=D(70), safety=D(20), lead_periods=2
    )
    assert record == [
        Netted(D(40), D(0), net=D(0), projected=D(30), release=D(70), late=D(20)),
        Netted(D(60), D(30), net=D(20), projected=D(20), release=D(0), late=D(0)),
        Netted(D(50), D(0), net=D(50), projected=D(20), release=D(0), late=D(0)),
    ]
    [at_once] = net_requirements([Need(D(40))], usable=D(0))
    assert (at_once.release, at_once.late) == (D(40), D(0))


def test_what_is_low_is_lifted_a_week_above_its_point() -> None:
    """At 3 kg with a point of 5 kg and 700 g a week: up to 5.7 kg, so 2.7 kg. At the point itself
    it is low too, and where none is used a gram lifts it; what is above it is not ordered."""
    assert order_up_to(D(5000), D("700.4")) == order_up_to(D(5000), D("699.5")) == 5700
    assert order_up_to(D(5000), D("700.5")) == 5701
    assert order_up_to(D(5000), D("0.5")) == order_up_to(D(5000), D(0)) == 5001
    low = reorder(D(3000), point=D(5000), weekly_use=D(700))
    assert low == Reorder(D(5000), D(3000), D(5700))
    assert low is not None
    assert low.quantity == 2700
    at_it = reorder(D(5000), point=D(5000), weekly_use=D(0))
    assert at_it is not None
    assert at_it.quantity == 1
    below_nothing = reorder(D(-200), point=D(0), weekly_use=D(3))
    assert below_nothing is not None
    assert below_nothing.quantity == 203
    assert reorder(D("5000.000001"), point=D(5000), weekly_use=D(700)) is None


def test_netting_refuses_what_cannot_be() -> None:
    sentence = r"^Needs, receipts, safety stock and lead time are zero or more\.$"
    for options in ({"lead_periods": -1}, {"safety": D("-0.5")}):
        with pytest.raises(Invalid, match=sentence):
            net_requirements([Need(D(1))], usable=D(0), **options)
    for need in (Need(D("-0.5")), Need(D(1), D("-0.5"))):
        with pytest.raises(Invalid, match=sentence):
            net_requirements([Need(D(1)), need], usable=D(0))


@pytest.mark.parametrize(
    ("series", "pattern"),
    [
        ([5, 5, 5, 6], Pattern.SMOOTH),
        ([1, 9, 1, 1], Pattern.ERRATIC),
        ([0, 5, 0, 5], Pattern.INTERMITTENT),
        ([0, 1, 0, 9, 0, 1], Pattern.LUMPY),
        ([0, 0], Pattern.NONE),
    ],
)
def test_patterns(series: list[int], pattern: Pattern) -> None:
    assert describe([D(one) for one in series]).pattern is pattern


def test_where_rare_and_uneven_begin() -> None:
    """33 periods with 25 uses are 1.32 apart; sizes 3 and 17 about 10 vary by 0.98 squared."""
    assert describe([D(1)] * 25 + [D(0)] * 8).pattern is Pattern.INTERMITTENT
    assert describe([D(1)] * 26 + [D(0)] * 8).pattern is Pattern.SMOOTH
    assert describe([D(3), D(17)]).uneven == D("0.98")
    # 3, 10 and 17 vary by 7 squared over 10 squared.
    assert describe([D(3), D(10), D(17)]).pattern is Pattern.ERRATIC
    assert describe([D("3.1"), D(10), D("16.9")]).pattern is Pattern.SMOOTH


def test_a_series_described_by_hand() -> None:
    """0, 4, 0 and 8 are 3 in the mean, 44 / 3 squared from it; 4 and 8 vary by 8 about 6."""
    found = describe([D(0), D(4), D(0), D(8)])
    assert (found.periods, found.mean, found.interval) == (4, D(3), D(2))
    assert found.spread == (D(44) / 3).sqrt()
    assert found.uneven == D(8) / 36
    assert describe([D("0.5")]) == Usage(1, D("0.5"), D(0), D(1), D(0), Pattern.SMOOTH)
    assert describe([D(0)] * 3) == Usage(3, D(0), D(0), None, None, Pattern.NONE)


def test_nothing_used_is_nothing_expected() -> None:
    assert croston([D(0)] * 3) == fading([D(0)] * 3) == (D(0), D(0), D(0))
    assert croston_corrected([D(0)]) == 0
    # Once, half a gram after three periods; then a period without any.
    once = [D(0), D(0), D("0.5"), D(0)]
    assert croston(once) == (D("0.5"), D(3), D("0.5") / 3)
    # 4 and 8 by halves are 6, less a quarter.
    assert croston_corrected([D(4), D(8)], D("0.5")) == D("4.5")
    assert fading(once) == (D("0.5"), D("0.9"), D("0.45"))


@given(st.lists(GRAMS, min_size=1, max_size=30), st.integers(1, 6))
def test_a_forecast_is_never_below_zero_and_lies_in_its_interval(
    series: list[D], ahead: int
) -> None:
    found = forecast(series, ahead=ahead, level=D("0.8"))
    assert 0 <= found.low <= found.expected <= found.high
    assert 0 <= found.held <= found.tried == max(0, len(series) - ahead - 7)


def test_even_use_is_always_forecast_right() -> None:
    found = forecast([D(7)] * 20, ahead=2, level=D("0.9"))
    assert found.low == found.expected == found.high == 14
    assert found.tried == found.held == 11


def test_a_forecast_worked_by_hand() -> None:
    """6 and 8 in turn are 7 in the mean, sqrt(8 / 7) apart; four periods, 1.2816 spreads: 2.74."""
    found = forecast([D(6), D(8)] * 4, ahead=4, level=D("0.8"))
    assert (found.expected, found.level, found.tried, found.held) == (D(28), D("0.8"), 0, 0)
    assert round(found.high - 28, 2) == round(28 - found.low, 2) == D("2.74")


def test_rare_use_is_forecast_by_what_fades() -> None:
    """0, 4, 0, 8: 4 grows to 4.4, the chance goes from 1 by 0.9 to 0.91; two periods of 4.004."""
    assert forecast([D(0), D(4), D(0), D(8)], ahead=2, level=D("0.5")).expected == D("8.008")
    uneven = forecast([D(one) for one in (0, 1, 0, 9, 0, 1)], ahead=1, level=D("0.9"))
    assert uneven.expected == D("1.72") * D("0.8371")
    assert uneven.low == 0


def test_a_forecast_tells_how_often_it_was_wrong() -> None:
    """After eight, nine and ten periods of 7; the last one is followed by 8."""
    found = forecast([*[D(7)] * 10, D(8)], ahead=1, level=D("0.8"))
    assert (found.tried, found.held) == (3, 2)
    found = forecast([*[D(7)] * 10, D(6)], ahead=1, level=D("0.8"))
    assert (found.tried, found.held) == (3, 2)


def test_what_is_no_longer_used_fades() -> None:
    used = [D(0), D(4), D(0), D(4)] * 4
    chances = [fading([*used, *[D(0)] * months])[1] for months in (0, 6, 24)]
    assert chances == sorted(chances, reverse=True)
    assert chances[2] < D("0.1")


@given(st.integers(1, 50).map(D), st.integers(0, 20).map(D), st.integers(0, 30).map(D))
def test_more_certainty_and_later_orders_raise_the_point(mean: D, spread: D, days: D) -> None:
    def at(level: str, late: D) -> D:
        lead_time = LeadTime(days, late)
        return reorder_point(Use(mean, spread), lead_time, service_level=D(level)).point

    assert mean * days == at("0.5", D(0)) <= at("0.9", D(0)) <= at("0.99", D(0))
    assert at("0.9", D(0)) < at("0.9", D(3))


def test_a_service_level_lies_between_a_half_and_what_can_be_kept() -> None:
    """z of 99.99 percent is 3.719 (NIST/SEMATECH e-Handbook 1.3.6.7.1, from memory)."""
    assert quantile(D("0.5")) == 0
    assert round(quantile(D("0.9999")), 3) == D("3.719")
    sentence = (
        r"^Give a service level from 50 to 99\.99 percent: the share of orders during which"
        r" nothing runs out\.$"
    )
    for level in ("0.4999", "0.99991", "1", "NaN", "Infinity"):
        with pytest.raises(Invalid, match=sentence):
            quantile(D(level))


def test_figures_that_cannot_be_are_refused() -> None:
    below, none = D("-0.5"), D(0)
    for use, lead_time in (
        (Use(below), LeadTime(D(1))),
        (Use(D(1), below), LeadTime(D(1))),
        (Use(D(1)), LeadTime(below)),
        (Use(D(1)), LeadTime(D(1), below)),
    ):
        with pytest.raises(Invalid, match=r"^Use, lead time and their spreads are zero or more\.$"):
            reorder_point(use, lead_time, service_level=D("0.9"))
    assert reorder_point(Use(none), LeadTime(none), service_level=D("0.9")).point == 0
    for order in (none, below):
        with pytest.raises(Invalid, match=r"^Give the usual order as more than zero\.$"):
            fill_rate(D(1), spread=D(1), order=order)
    assert fill_rate(D(1), spread=D(0), order=D("0.5")) == 1
    for series in ([], [D(1), below]):
        for read in (describe, croston, croston_corrected, fading):
            with pytest.raises(Invalid, match=r"^A series of use has at least one period, .* zero"):
                read(series)
    with pytest.raises(Invalid, match=r"^A forecast looks at least one period ahead\.$"):
        forecast([D(1)], ahead=0, level=D("0.8"))


def test_sizes_of_orders_need_figures_above_zero() -> None:
    good = {"use": D(1300), "per_order": D(8), "keeping": D("0.225")}
    sentence = r"^Use, prices and costs of ordering and keeping are above zero\.$"
    for name in good:
        for make in (economic_quantity, lambda **figures: cost_at(D(250), **figures)):
            with pytest.raises(Invalid, match=sentence):
                make(**{**good, name: D(0)})
    with pytest.raises(Invalid, match=sentence):
        cost_at(D(0), **good)
    rated = {"use": D(1300), "per_order": D(8), "keeping_rate": D("0.3")}
    for name in rated:
        with pytest.raises(Invalid, match=sentence):
            economic_quantity_with_breaks([Break(D(0), D(1))], **{**rated, name: D(0)})
    with pytest.raises(Invalid, match=sentence):
        economic_quantity_with_breaks([Break(D(0), D(1)), Break(D(9), D(0))], **rated)
    # Two figures below zero make one above it.
    with pytest.raises(Invalid, match=sentence):
        economic_quantity_with_breaks([Break(D(0), D(-1))], **{**rated, "keeping_rate": D(-1)})
    for breaks in (
        [],
        [Break(D(5), D(1)), Break(D(5), D(1))],
        [Break(D(5), D(1)), Break(D(4), D(1))],
    ):
        with pytest.raises(
            Invalid, match=r"^Give at least one price, and breaks in rising order\.$"
        ):
            economic_quantity_with_breaks(breaks, **rated)


def test_the_size_at_a_break_has_the_price_of_the_break() -> None:
    """2 x 200 x 10 / 0.4 is 100 squared, where the price falls from 2.00 to 1.60.

    At the break 200 x 1.60 + 20 + 0.32 x 50 = 356; its own size, sqrt(4000 / 0.32) = 111.80, costs
    320 + sqrt(2 x 200 x 10 x 0.32) = 355.78. At 2.50 it would be 500 + 20 + 0.5 x 50 = 545.
    """
    figures = {"use": D(200), "per_order": D(10), "keeping_rate": D("0.2")}
    found = economic_quantity_with_breaks([Break(D(0), D(2)), Break(D(100), D("1.60"))], **figures)
    assert (round(found.quantity, 2), round(found.cost, 2)) == (D("111.80"), D("355.78"))
    dearer = economic_quantity_with_breaks([Break(D(0), D(2)), Break(D(100), D("2.5"))], **figures)
    assert dearer == LotSize(D(100), D(545))
    alone = economic_quantity_with_breaks([Break(D(0), D(2))], **figures)
    assert alone == LotSize(D(100), D(440))
    least = economic_quantity_with_breaks([Break(D(200), D(2))], **figures)
    assert least == LotSize(D(200), D(450))
