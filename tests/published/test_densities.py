"""Water, specific gravity, mixtures and masses of volumes against published figures."""

from decimal import Decimal

import pytest

from ledger.densities import (
    contraction_percent,
    density_from_specific_gravity,
    ideal_mixture_density,
    measured_density,
    water_density,
)
from ledger.quantities import (
    Density,
    convert,
    grams_of,
    millilitres_of,
    parse_density,
    parse_quantity,
    parse_temperature,
)

from .rows import Row, published_rows

KG_PER_M3 = 1000


def at_20(grams_per_millilitre: str) -> Density:
    return parse_density(f"{grams_per_millilitre} g/mL", "20 degC")


@pytest.mark.parametrize("row", published_rows("densities.csv", "density of water"))
def test_water(row: Row) -> None:
    assert row.agrees(water_density(row.number("t_C")) * KG_PER_M3)


@pytest.mark.parametrize("row", published_rows("densities.csv", "mass of 1 US gallon of water"))
def test_gallon_of_water_in_pounds(row: Row) -> None:
    celsius = parse_temperature(f"{row.inputs['t_F']} degF")
    water = Density(water_density(celsius), celsius, "water")
    gallon = parse_quantity(f"{row.inputs['volume_US_gal']} US gal")
    grams = grams_of(gallon, density=water, name="Aqua")
    assert row.agrees(convert(f"{grams} g", "lb"))


@pytest.mark.parametrize("row", published_rows("densities.csv", "density in vacuo"))
def test_apparent_specific_gravity(row: Row) -> None:
    density = density_from_specific_gravity(
        row.number("SG_20_20_in_air"), row.number("rho_water_20_g_mL"), weighed_in_air=True
    )
    assert row.agrees(density * KG_PER_M3)


@pytest.mark.parametrize("row", published_rows("densities.csv", "density in vacuo"))
def test_apparent_specific_gravity_as_typed(row: Row) -> None:
    """Reading it as a true one is at most 0.4 kg/m3 high, so the bench may type what it has."""
    typed = parse_density(f"SG {row.inputs['SG_20_20_in_air']} 20/20")
    assert typed.celsius == 20
    assert row.agrees(typed.grams_per_millilitre * KG_PER_M3)


@pytest.mark.parametrize("row", published_rows("densities.csv", "ethanol + water by volume"))
def test_mixture_by_volume(row: Row) -> None:
    """Masses add up and volumes do not: the mixture's own density gives its volume."""
    ethanol = grams_of(
        parse_quantity(f"{row.inputs['ethanol_mL']} mL"),
        density=at_20(row.inputs["ethanol_g_mL"]),
        name="Alcohol",
    )
    water = grams_of(
        parse_quantity(f"{row.inputs['water_mL']} mL"),
        density=at_20(row.inputs["water_g_mL"]),
        name="Aqua",
    )
    computed = {
        "mL": millilitres_of(ethanol + water, at_20(row.inputs["mixture_g_mL"])),
        "g": ethanol + water,
        "% w/w": ethanol / (ethanol + water) * 100,
    }
    assert row.agrees(computed[row.unit])


@pytest.mark.parametrize("row", published_rows("densities.csv", "percentage contraction"))
def test_contraction(row: Row) -> None:
    volumes = [row.number("ethanol_mL"), row.number("water_mL")]
    grams = volumes[0] * row.number("ethanol_rho") + volumes[1] * row.number("water_rho")
    mixture = millilitres_of(grams, at_20(str(row.inputs["mixture_rho"])))
    assert row.agrees(contraction_percent(volumes, mixture))


@pytest.mark.parametrize("row", published_rows("densities.csv", "ideal-mixing (specific volume)"))
def test_ideal_mixture(row: Row) -> None:
    densities = [density / KG_PER_M3 for density in row.numbers("rho")]
    parts = list(zip(row.numbers("w"), densities, strict=True))
    assert row.agrees(ideal_mixture_density(parts) * KG_PER_M3)


@pytest.mark.parametrize("row", published_rows("densities.csv", "ideal-mixing rule, sum"))
def test_density_from_a_specific_volume(row: Row) -> None:
    volume = convert(f"{row.number('sum_xi_over_rhoi_m3_per_kg'):f} m3", "mL")
    grams = convert("1 kg", "g")
    assert row.agrees(measured_density(grams, volume) * KG_PER_M3)


@pytest.mark.parametrize("row", published_rows("densities.csv", "mass of a volume of oil"))
def test_mass_of_a_volume_of_oil(row: Row) -> None:
    oil = parse_density(f"SG {row.inputs['relative_density_20_20']} 20/20")
    quantity = parse_quantity(f"{row.inputs['volume_mL']} mL")
    assert row.agrees(grams_of(quantity, density=oil, name="Glycine Soja Oil"))
    assert not row.agrees(quantity.amount * Decimal(str(row.inputs["relative_density_20_20"])))
