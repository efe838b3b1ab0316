"""What a container holds, measured by filling it with water and weighing.

Volume = water's mass in air, put back to its true mass, over the density of water at its
temperature (the gravimetric method of ISO 4787 and of NIST Handbook 133, chapter 3, simplified:
water's density by Kell 1975, air at 0.0012 g/mL, weights at 8.0 g/mL).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from ledger.densities import AIR, water_density
from ledger.errors import Invalid

# The density that balances assume of their weights (OIML D 28), in g/mL.
_WEIGHTS = Decimal(8)
PLACES = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class WaterFill:
    """Pieces filled to one level: each one's millilitres, their mean, the least and the most."""

    millilitres: tuple[Decimal, ...]

    @property
    def mean(self) -> Decimal:
        return (sum(self.millilitres, Decimal(0)) / len(self.millilitres)).quantize(PLACES)

    @property
    def least(self) -> Decimal:
        return min(self.millilitres)

    @property
    def most(self) -> Decimal:
        return max(self.millilitres)


def millilitres_of_water(grams: Decimal, celsius: Decimal) -> Decimal:
    """The volume of so many grams of water as a balance in air shows them, to 0.01 mL.

    Raises TemperatureOutOfRange where water is not liquid.
    """
    density = water_density(celsius)
    volume = grams * (1 - AIR / _WEIGHTS) / (density - AIR)
    return volume.quantize(PLACES)


def water_fill(
    pieces: Sequence[tuple[Decimal, Decimal]], celsius: Decimal, *, pointer: str = "/pieces"
) -> WaterFill:
    """What pieces hold by their gross and tare in grams.

    Raises Invalid for no pieces, or a gross that is not above its tare.
    """
    if not pieces:
        raise Invalid("Fill at least one piece.", pointer=pointer)
    for place, (gross, tare) in enumerate(pieces):
        if not gross > tare:
            raise Invalid(
                "The full piece weighs no more than the empty one: check gross and tare.",
                pointer=f"{pointer}/{place}/gross",
            )
    return WaterFill(tuple(millilitres_of_water(gross - tare, celsius) for gross, tare in pieces))


def usable_of(brimful: Decimal, headspace_percent: Decimal) -> Decimal:
    """What may be filled below the brim, where only the brimful capacity was measured."""
    return (brimful * (1 - headspace_percent / 100)).quantize(PLACES)
