"""What is just within the bounds is read, and long figures stay exact."""

from decimal import Decimal as D
from fractions import Fraction

import pytest

from ledger.costing import CostFormula as Rule
from ledger.costing import Draw, Layer, ReceivedLine, land, take
from ledger.errors import DensityImplausible
from ledger.quantities import count_of, parse_density, parse_quantity, parse_temperature


@pytest.mark.parametrize(("text", "density"), [("0.01 g/mL", "0.01"), ("25 g/mL", "25")])
def test_the_lightest_and_the_heaviest_are_densities(text: str, density: str) -> None:
    assert parse_density(text).grams_per_millilitre == D(density)


def test_no_number_is_too_long_to_be_refused() -> None:
    for digits in (20, 40):
        with pytest.raises(DensityImplausible):
            parse_density("9" * digits + " g/mL")


@pytest.mark.parametrize("text", ["1.26 g per mL", "1.26 g Per mL", "1.26 G PER ML"])
def test_per_is_read_however_it_is_written(text: str) -> None:
    assert parse_density(text).grams_per_millilitre == D("1.26")


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("1000 degC", 1000), ("-273.15 degC", "-273.15"), ("-5 degC", -5), ("0 K", "-273.15")],
)
def test_the_coldest_and_the_hottest_are_temperatures(text: str, celsius: str) -> None:
    assert parse_temperature(text) == D(celsius)


def test_a_specific_gravity_at_the_hottest_is_read() -> None:
    assert parse_density("SG 1.2 1000/20").celsius == 1000


def test_a_specific_gravity_against_freezing_water_is_read() -> None:
    """Kell 1975: 0.99984 g/mL at 0 degC."""
    density = parse_density("SG 1.2 20/0").grams_per_millilitre
    assert round(density, 4) == D("1.1998")


def test_the_smallest_quantity_is_one() -> None:
    assert parse_quantity("0.000001 g").amount == D("0.000001")


def test_a_third_is_kept_to_eighty_digits() -> None:
    third = Fraction(parse_quantity("1/3 mL").amount)
    assert abs(third - Fraction(1, 3)) < Fraction(1, 10**79)


def test_nothing_charged_and_nothing_drawn_are_amounts() -> None:
    """Of zero, and of the type that money has, where a sum of nothing would be a whole number."""
    (line,) = land([ReceivedLine("Oil", D(5), D(100))], [], "USD")
    taken = take([Layer("A", D(5), D(1))], [Draw("A", D(2))], Rule.LOT)
    for nothing in (line.charges, taken.value_of(1)):
        assert isinstance(nothing, D)
        assert nothing == 0


def test_an_odd_count_is_whole_and_keeps_no_decimals() -> None:
    assert str(count_of(parse_quantity("3 each"), name="Jars")) == "3"


def test_sixty_four_characters_are_read() -> None:
    assert parse_quantity("0" * 61 + "1 g").amount == 1
