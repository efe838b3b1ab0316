"""Variances of materials add up exactly, whatever the figures."""

from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.costing import Labour, Overhead
from formulas.variances import (
    FORMULAS,
    Actual,
    Direction,
    Goods,
    Input,
    InputVariance,
    Priced,
    Split,
    Standard,
    batch_variances,
    cost_per_kg,
    grams_per_kg,
    input_variances,
    split_variance,
)
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


money = st.decimals(0, 10**6, places=6)
goods = st.builds(Goods, figures, money)
names = st.sampled_from(["oil", "wax", "water", "clay", "jar", "lid"])
priced = st.builds(Priced, st.decimals("0.000001", 100, places=6), st.decimals(0, 1000, places=9))
labours = st.builds(Labour, money, figures, figures)
overheads = st.builds(Overhead, money, st.decimals(0, 999, places=4))
standards = st.builds(
    Standard,
    materials=st.dictionaries(names, priced, min_size=1),
    process_loss_percent=st.decimals(0, 99, places=6),
    labour=labours,
    overhead=overheads,
    packaging=st.dictionaries(names, priced),
)
actuals = st.builds(
    Actual,
    output_grams=st.decimals("0.01", 10**6, places=6),
    materials=st.dictionaries(names, goods),
    packaging=st.dictionaries(names, goods),
    units=st.integers(0, 1000),
    minutes=figures.map(Fraction),
    labour=money,
    overhead=money,
)


@given(standards, actuals)
def test_all_variances_of_a_batch_sum_to_actual_less_standard(
    standard: Standard, actual: Actual
) -> None:
    told = batch_variances(standard, actual)
    went_in = [*actual.materials.values(), *actual.packaging.values()]
    cost = sum((one.value for one in went_in), D(0)) + actual.labour + actual.overhead
    assert told.actual == cost
    assert set(told.parts) == set(FORMULAS)
    assert sum(told.parts.values(), D(0)) == told.total == cost - told.standard
    lines: list[Any] = [*told.materials, *told.packaging.values(), told.labour, told.overhead]
    assert sum((one.total for one in lines), D(0)) == told.total
    assert sum((one.actual for one in lines), D(0)) == told.actual
    for name, one in actual.materials.items():
        (line,) = [line for line in told.materials if line.name == name]
        assert (line.actual, line.quantity) == (one.value, one.quantity)
    # What should have been spent depends on what came out, and on nothing that went in.
    idle = batch_variances(standard, Actual(actual.output_grams, materials={}, units=actual.units))
    assert idle.standard == told.standard


def test_packaging_and_labour_of_what_was_not_filled_are_those_of_the_batch() -> None:
    standard = Standard(
        materials={"oil": Priced(D(100), D("0.01"))},
        process_loss_percent=D(0),
        labour=Labour(D(30), D(60), D(2)),
        overhead=Overhead(D(4), D(10)),
        packaging={"jar": Priced(D(2), D("0.5"))},
    )
    actual = Actual(D(1000), {"oil": Goods(D(1000), D(10))}, {"lid": Goods(D(3), D("0.6"))})
    told = batch_variances(standard, actual)
    assert (told.labour.standard, told.labour.wanted) == (D(30), D(60))
    assert told.packaging["jar"] == Split(D(0), D(0), D(0), D(0), D(0))
    assert told.packaging["lid"] == Split(D(0), D("0.6"), D(0), D(3), D(0))
    assert (told.overhead.standard, told.overhead.total) == (D(5), D(-5))


JARS = Standard(
    materials={"oil": Priced(D(60), D("0.01")), "wax": Priced(D(40), D("0.02"))},
    process_loss_percent=D(0),
    labour=Labour(D(30), D(60), D(2)),
    overhead=Overhead(D(4), D(10)),
    packaging={"jar": Priced(D(1), D("0.5")), "lid": Priced(D(1), D("0.1"))},
)
NINE = Actual(
    output_grams=D(900),
    materials={"oil": Goods(D(640), D("7.04")), "wax": Goods(D(360), D("7.20"))},
    packaging={
        "seal": Goods(D(9), D("0.27")),
        "lid": Goods(D(9), D("0.90")),
        "jar": Goods(D(10), D("5.50")),
    },
    units=9,
    minutes=Fraction(90),
    labour=D(48),
    overhead=D(5),
)


def test_a_batch_worked_by_hand() -> None:
    """Nine jars of 100 g came of 1,000 g: the standard takes 540 g of oil and 360 g of wax.

    Oil cost 0.011 for 0.01, and 640 g of it went in for 600 of its share; a jar broke.
    """
    told = batch_variances(JARS, NINE)
    assert told.all_materials == InputVariance(
        "materials", D(1000), D(900), D("0.64"), D("-0.40"), D("1.40"), D("12.60")
    )
    assert list(told.packaging.items()) == [
        ("jar", Split(D("0.50"), D("0.50"), D("4.50"), D(10), D(9))),
        ("lid", Split(D(0), D(0), D("0.90"), D(9), D(9))),
        ("seal", Split(D(0), D("0.27"), D(0), D(9), D(0))),
    ]
    assert told.all_packaging == Split(D("0.50"), D("0.77"), D("5.40"))
    # 90 minutes for 78 at 0.50 a minute: 39.00.
    assert told.labour == Split(D(3), D(6), D(39), D(90), D(78))
    # A tenth of 12.60 is 1.26, and of the 14.24 that materials cost 1.424.
    assert told.overhead == Split(D("-0.424"), D("0.164"), D("5.26"))
    assert (told.standard, told.actual, told.total) == (D("62.26"), D("73.91"), D("11.65"))
    assert told.parts == {
        "price": D("0.64"),
        "mix": D("-0.40"),
        "yield": D("1.40"),
        "packaging_price": D("0.50"),
        "packaging_usage": D("0.77"),
        "labour_rate": D(3),
        "labour_efficiency": D(6),
        "overhead_rate": D("-0.424"),
        "overhead_base": D("0.164"),
    }


@pytest.mark.parametrize(
    ("variance", "told"),
    [("0.000001", "adverse"), ("-0.000001", "favourable"), ("0.000000", "none")],
)
def test_a_variance_in_words(variance: str, told: str) -> None:
    assert Direction.of(D(variance)) == told


def test_a_kilogram_of_output_through_the_loss() -> None:
    """At a loss of 20 %, 50 % are 625 g; at 12.00 and 20.00 a kilogram it costs 20.00."""
    assert grams_per_kg(D(50), Fraction(4, 5)) == 625
    assert cost_per_kg([(D(50), D(12)), (D(50), D(20))], Fraction(4, 5)) == 20


def test_a_listed_material_has_a_price() -> None:
    with pytest.raises(Invalid, match=r"^oil is in the standard and has no price\.$"):
        input_variances(
            [Input("oil", D(1), None, D(1), D(1))], standard_yield=Fraction(1), output=D(1)
        )


def test_each_variance_has_the_name_of_its_input() -> None:
    told = input_variances(
        [Input("oil", D(1), D(2), D(5), D(9)), Input("wax", D(1), D(2), D(5), D(9))],
        standard_yield=Fraction(1),
        output=D(10),
    )
    assert [one.name for one in told] == ["oil", "wax"]
