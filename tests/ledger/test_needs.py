"""Netting, patterns of use and forecasts, where no book says the figure."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Invalid
from ledger.lot_sizing import Break, economic_quantity, economic_quantity_with_breaks
from ledger.netting import Need, net_requirements
from ledger.reordering import LeadTime, Use, fill_rate, quantile, reorder_point
from ledger.usage import Pattern, describe, fading, forecast

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


def test_netting_refuses_what_cannot_be() -> None:
    for options in ({"lead_periods": -1}, {"safety": D(-1)}):
        with pytest.raises(Invalid):
            net_requirements([Need(D(1))], usable=D(0), **options)
    with pytest.raises(Invalid):
        net_requirements([Need(D(-1))], usable=D(0))


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


def test_figures_that_cannot_be_are_refused() -> None:
    for level in ("0.49", "1", "NaN"):
        with pytest.raises(Invalid):
            quantile(D(level))
    with pytest.raises(Invalid):
        reorder_point(Use(D(-1)), LeadTime(D(1)), service_level=D("0.9"))
    with pytest.raises(Invalid):
        fill_rate(D(1), spread=D(1), order=D(0))
    for series in ([], [D(-1)]):
        with pytest.raises(Invalid):
            describe(series)
    with pytest.raises(Invalid):
        forecast([D(1)], ahead=0, level=D("0.8"))
    with pytest.raises(Invalid):
        economic_quantity(use=D(0), per_order=D(1), keeping=D(1))
    for breaks in ([], [Break(D(5), D(1)), Break(D(5), D(1))]):
        with pytest.raises(Invalid):
            economic_quantity_with_breaks(breaks, use=D(1), per_order=D(1), keeping_rate=D(1))
