"""Variances of materials add up exactly, whatever the figures."""

from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.variances import Input, input_variances, split_variance
from ledger.errors import Invalid, QuantityNotPositive

figures = st.decimals(0, 10**6, places=6)
inputs = st.builds(Input, st.just("oil"), figures, figures, figures, figures)
yields = st.fractions(Fraction(1, 10), 1, max_denominator=1000)


@given(st.lists(inputs, min_size=1, max_size=12), yields, st.decimals("0.01", 10**6, places=6))
def test_they_add_up_to_actual_less_standard_to_the_last_digit(
    found: list[Input], standard_yield: Fraction, output: D
) -> None:
    if not any(one.standard_share for one in found):
        with pytest.raises(Invalid):
            input_variances(found, standard_yield=standard_yield, output=output)
        return
    told = input_variances(found, standard_yield=standard_yield, output=output)
    for one, variance in zip(found, told, strict=True):
        assert variance.price + variance.mix + variance.yielded == variance.total
        assert one.value - variance.standard == variance.total
        assert variance.usage == variance.mix + variance.yielded
    shares = sum((Fraction(one.standard_share) for one in found), Fraction(0))
    per_gram = sum(
        (Fraction(one.standard_share) * Fraction(one.standard_price or 0) for one in found),
        Fraction(0),
    )
    standard = Fraction(output) / standard_yield * per_gram / shares
    rounded = sum((Fraction(one.standard) for one in told), Fraction(0))
    assert abs(rounded - standard) <= len(told) * Fraction(1, 10**6)


@given(figures, figures, figures, figures)
def test_rate_and_efficiency_add_up(actual: D, minutes: D, standard: D, rate: D) -> None:
    found = split_variance(
        actual, minutes, standard_quantity=Fraction(standard), standard_price=Fraction(rate) / 60
    )
    assert found.total == found.price + found.usage == actual - found.standard


def test_dearer_and_longer_is_unfavourable() -> None:
    """Two hours at 24 where the standard is one and a half at 20: 8 for the rate, 10 for time."""
    found = split_variance(
        D(48), D(120), standard_quantity=Fraction(90), standard_price=Fraction(20, 60)
    )
    assert (found.price, found.usage, found.standard) == (D(8), D(10), D(30))


def test_what_is_not_in_the_standard_is_mix() -> None:
    oil, stray = Input("oil", D(1), D(2), D(100), D(200)), Input("stray", D(0), D(3), D(10), D(30))
    first, second = input_variances([oil, stray], standard_yield=Fraction(1), output=D(110))
    assert (first.price, first.mix, first.yielded) == (D(0), D(-20), D(0))
    assert (second.price, second.mix, second.yielded) == (D(0), D(30), D(0))


def test_figures_that_cannot_be() -> None:
    oil = Input("oil", D(1), D(2), D(100), D(200))
    with pytest.raises(QuantityNotPositive):
        input_variances([oil], standard_yield=Fraction(1), output=D(0))
    with pytest.raises(Invalid):
        input_variances([oil], standard_yield=Fraction(0), output=D(1))
    with pytest.raises(Invalid, match="oil"):
        input_variances(
            [Input("oil", D(1), D(2), D("NaN"), D(1))], standard_yield=Fraction(1), output=D(1)
        )
