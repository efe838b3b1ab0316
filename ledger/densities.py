"""What density does: specific gravity, water, mixtures, and the density weighed at the bench.

Plain Decimals in, plain Decimals out: grams, millilitres, g/mL and degrees Celsius. Results are
not rounded. Reading what people type is the business of `ledger.quantities`.
"""

from collections.abc import Sequence
from decimal import Decimal

from ledger.errors import DensityNotPositive, Invalid, TemperatureOutOfRange

# G. S. Kell, J. Chem. Eng. Data 20 (1975) 97: density of air-free water at one atmosphere, in
# kg/m3, as a polynomial of degrees Celsius over 1 + 0.016879850 t. Within 0.01 kg/m3 of the
# newer IAPWS-95 formulation between 0 and 80 degC, far below what a bench can weigh.
_KELL = tuple(
    Decimal(coefficient)
    for coefficient in (
        "999.83952",
        "16.945176",
        "-7.9870401e-3",
        "-46.170461e-6",
        "105.56302e-9",
        "-280.54253e-12",
    )
)
_KELL_BELOW = Decimal("16.879850e-3")
_WATER_LOW, _WATER_HIGH = Decimal(0), Decimal(100)

# Air at about 20 degC and sea level, in g/mL: what an apparent specific gravity leaves out.
AIR = Decimal("0.0012")


def water_density(celsius: Decimal) -> Decimal:
    """Density of water in g/mL between 0 and 100 degC (Kell 1975).

    Raises TemperatureOutOfRange where water is not liquid at one atmosphere.
    """
    if not _WATER_LOW <= celsius <= _WATER_HIGH:
        raise TemperatureOutOfRange(low=_WATER_LOW, high=_WATER_HIGH)
    # Nested, not by powers: zero to the power of zero is no decimal.
    above = Decimal(0)
    for coefficient in reversed(_KELL):
        above = above * celsius + coefficient
    return above / (1 + _KELL_BELOW * celsius) / 1000


def density_from_specific_gravity(
    specific_gravity: Decimal, water: Decimal, *, weighed_in_air: bool = False
) -> Decimal:
    """Density in g/mL from a specific gravity and the density of the water it refers to.

    SG 20/4 means: a sample at 20 degC against water at 4 degC; `water` is then that of 4 degC
    and the result holds at 20 degC. Tables made with a pycnometer in air give an apparent
    specific gravity; `weighed_in_air` puts the air's lift back: SG x (water - air) + air
    (standard textbook conversion). Raises DensityNotPositive.
    """
    _above_zero(specific_gravity, water)
    if weighed_in_air:
        return specific_gravity * (water - AIR) + AIR
    return specific_gravity * water


def measured_density(grams: Decimal, millilitres: Decimal) -> Decimal:
    """Density in g/mL of what was weighed in a known volume. Raises DensityNotPositive."""
    _above_zero(grams, millilitres)
    return grams / millilitres


def ideal_mixture_density(parts: Sequence[tuple[Decimal, Decimal]]) -> Decimal:
    """Density in g/mL of a mixture whose parts keep their volumes; `parts` are (mass, density).

    Specific volumes add up: 1/density = sum of (share of mass / density), as in the ASHRAE
    Handbook, Refrigeration, chapter 19. Real mixtures of water with glycerin or alcohol shrink
    and are denser, by one to three percent: measure those. Masses may be in any one unit, or
    shares. Raises DensityNotPositive for no parts, or a mass or density not above zero.
    """
    for mass, density in parts:
        _above_zero(mass, density)
    volume = sum((mass / density for mass, density in parts), Decimal(0))
    return measured_density(sum((mass for mass, _ in parts), Decimal(0)), volume)


def contraction_percent(volumes: Sequence[Decimal], mixture: Decimal) -> Decimal:
    """By how many percent a mixture is smaller than the volumes that went in; negative if larger.

    (sum of volumes - mixture) / sum of volumes x 100, all in one unit (standard textbook
    definition). Raises Invalid when a volume is not above zero.
    """
    apart = sum(volumes, Decimal(0))
    if not all(volume > 0 for volume in (apart, mixture, *volumes)):
        raise Invalid("Every volume must be above zero.")
    return (apart - mixture) / apart * 100


def _above_zero(*values: Decimal) -> None:
    if not all(value.is_finite() and value > 0 for value in values):
        raise DensityNotPositive("A density, and the mass and volume it comes of, are above zero.")
