"""Densities and temperatures as people type them, and what is worked out from them."""

from decimal import Decimal

import pytest

from ledger.densities import (
    contraction_percent,
    ideal_mixture_density,
    measured_density,
    water_density,
)
from ledger.errors import DensityNotPositive, Invalid, Refusal, TemperatureOutOfRange
from ledger.quantities import parse_density, parse_temperature, parse_temperature_difference


@pytest.mark.parametrize(
    ("value", "density"),
    [
        ("1.26 g/mL", "1.26"),
        ("1.26 g/ml", "1.26"),
        ("1.26 g / cm3", "1.26"),
        ("1.26 g/cm³", "1.26"),
        ("1.26 kg/L", "1.26"),
        ("1260 g/L", "1.26"),
        ("998.2 kg/m3", "0.9982"),
        ("998.2 kg/m^3", "0.9982"),
        ("1.26 g per mL", "1.26"),
        ("8.34 lb/gal", "0.999352403823"),
        ("10 lb/imp gal", "0.997763726631"),
    ],
)
def test_densities_that_are_read(value: str, density: str) -> None:
    read = parse_density(value)
    assert read.grams_per_millilitre == Decimal(density)
    assert read.entered == value


@pytest.mark.parametrize(
    ("value", "gravity", "water"),
    [
        ("SG 0.922 20/20", "0.922", "0.998207"),
        ("sp. gr. 0.922 (20/20 °C)", "0.922", "0.998207"),
        ("Specific gravity 1.26 20/4", "1.26", "0.999975"),
        ("sg 1.26 25/25", "1.26", "0.997048"),
    ],
)
def test_specific_gravities_are_taken_on_water(value: str, gravity: str, water: str) -> None:
    """Water's g/mL at the second temperature is that of IAPWS R6-95."""
    expected = Decimal(gravity) * Decimal(water)
    assert abs(parse_density(value).grams_per_millilitre - expected) < Decimal("0.00001")


def test_a_density_keeps_its_temperature() -> None:
    assert parse_density("1.26 g/mL").celsius is None
    assert parse_density("1.26 g/mL", "68 degF").celsius == 20
    assert parse_density("SG 1.26 25/25").celsius == 25
    assert parse_density("SG 1.26 25/25", "77 degF").celsius == 25


@pytest.mark.parametrize(
    ("value", "at", "code", "pointer"),
    [
        ("0 g/mL", None, "density_not_positive", "/value"),
        ("-1 g/mL", None, "density_not_positive", "/value"),
        ("SG 0 20/20", None, "density_not_positive", "/value"),
        ("1.26 g/L", None, "density_implausible", "/value"),
        ("1260 g/mL", None, "density_implausible", "/value"),
        ("1.26", None, "unit_missing", "/value"),
        ("SG 1.26", None, "density_unreadable", "/value"),
        ("SG 1.26 20/200", None, "temperature_out_of_range", "/value"),
        ("SG 1.26 2000/20", None, "temperature_out_of_range", "/value"),
        ("1,26 g/mL", None, "density_unreadable", "/value"),
        ("1/0 g/mL", None, "density_unreadable", "/value"),
        ("1e0 g/mL", None, "density_unreadable", "/value"),
        ("NaN g/mL", None, "density_unreadable", "/value"),
        ("", None, "density_unreadable", "/value"),
        ("1.26 g", None, "density_unreadable", "/value"),
        ("1.26 mL/g", None, "unit_wrong", "/value"),
        ("1.26 g/each", None, "unit_wrong", "/value"),
        ("1.26 oz/gal", None, "unit_ambiguous", "/value"),
        ("1.26 g/jug", None, "unit_unknown", "/value"),
        ("1.26 g/mL", "20", "temperature_unreadable", "/at"),
        ("1.26 g/mL", "", "temperature_unreadable", "/at"),
        ("1.26 g/mL", "-300 degC", "temperature_out_of_range", "/at"),
        ("SG 1.26 20/20", "25 degC", "density_unreadable", "/at"),
    ],
)
def test_densities_that_are_refused(value: str, at: str | None, code: str, pointer: str) -> None:
    with pytest.raises(Refusal) as refused:
        parse_density(value, at)
    assert (refused.value.code, refused.value.pointer) == (code, pointer)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        ("20 degC", "20"),
        ("20 °C", "20"),
        ("20C", "20"),
        ("20 degrees Celsius", "20"),
        ("68 degF", "20"),
        ("0 f", "-17.777777778"),
        ("293.15 K", "20"),
        ("-5 degC", "-5"),
        ("\u22125.5 °C", "-5.5"),
        ("-273.15 degC", "-273.15"),
    ],
)
def test_temperatures_that_are_read(text: str, celsius: str) -> None:
    assert str(parse_temperature(text)) == celsius


@pytest.mark.parametrize("text", ["20", "twenty degC", "20 kg", "", "1e2 degC", "2\x000 degC"])
def test_temperatures_that_are_unreadable(text: str) -> None:
    with pytest.raises(Refusal) as refused:
        parse_temperature(text)
    assert refused.value.code == "temperature_unreadable"


@pytest.mark.parametrize("text", ["-273.16 degC", "-1 K", "1001 degC", "9" * 50 + " degC"])
def test_temperatures_that_no_bench_has(text: str) -> None:
    with pytest.raises(TemperatureOutOfRange):
        parse_temperature(text)


def test_a_difference_of_temperatures_has_no_offset() -> None:
    assert parse_temperature_difference("-9 degF") == -5
    assert parse_temperature_difference("5 degC") == 5
    assert parse_temperature_difference("5 K") == 5


def test_density_helpers_refuse_what_has_no_density() -> None:
    water, one = water_density(Decimal(20)), Decimal(1)
    assert measured_density(Decimal(126), Decimal(100)) == Decimal("1.26")
    for parts in ([], [(Decimal(0), water)], [(one, Decimal(-1))], [(one, Decimal("NaN"))]):
        with pytest.raises(DensityNotPositive):
            ideal_mixture_density(parts)
    with pytest.raises(DensityNotPositive):
        measured_density(one, Decimal(0))
    with pytest.raises(Invalid):
        contraction_percent([], one)
    for celsius in ("-0.1", "100.1"):
        with pytest.raises(TemperatureOutOfRange):
            water_density(Decimal(celsius))


def test_water_is_liquid_at_both_its_ends_and_small_volumes_contract() -> None:
    assert round(water_density(Decimal(0)), 4) == Decimal("0.9998")
    assert round(water_density(Decimal(100)), 4) == Decimal("0.9584")
    halves = [Decimal("0.5"), Decimal("0.5")]
    assert contraction_percent(halves, Decimal("0.9")) == 10
