"""What was typed, turned into the grams or pieces that the ledger keeps."""

from dataclasses import dataclass
from decimal import Decimal

from ledger.models import Lot, Material
from ledger.quantities import Density, Quantity, count_of, grams_of


@dataclass(frozen=True, slots=True)
class Measured:
    """Grams or pieces, what was typed, and the density that led from one to the other."""

    entered: str
    quantity: Decimal
    counted: bool
    density: Density | None = None
    density_of: str = ""

    def facts(self) -> dict[str, str]:
        """What an entry's details keep of it."""
        kept = {"entered": self.entered, "quantity": f"{self.quantity:f}"}
        if self.density is not None:
            kept["density"] = f"{self.density.grams_per_millilitre:f}"
            kept["density_of"] = self.density_of
            if self.density.celsius is not None:
                kept["density_at"] = f"{self.density.celsius:f}"
        return kept


def density_of(row: Lot | Material) -> Density | None:
    """The density kept with a lot or a material."""
    if row.density is None:
        return None
    return Density(row.density, row.density_at, row.density_entered)


def measure(quantity: Quantity, material: Material, lot_density: Density | None = None) -> Measured:
    """`quantity` of a material in grams, or in pieces if it is counted.

    A volume needs a density: the lot's own before the material's. Raises DensityMissing,
    UnitWrong, CountNotWhole.
    """
    if material.counted:
        return Measured(quantity.entered, count_of(quantity, name=material.name), counted=True)
    density, origin = lot_density, "lot"
    if density is None:
        density, origin = density_of(material), "material"
    grams = grams_of(quantity, density=density, name=material.name, mass_each=material.mass_each)
    if quantity.measure != "volume":
        return Measured(quantity.entered, grams, counted=False)
    return Measured(quantity.entered, grams, counted=False, density=density, density_of=origin)
