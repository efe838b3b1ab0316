"""What the volume on a label weighs: by a density at 20 degC, however warm it is filled.

Net contents by volume are judged at 20 degC, 68 degF (Uniform Packaging and Labeling Regulation,
NIST Handbook 130). A density that was taken warm makes grams of what was measured as warm, and
tells what room they take; a label's millilitres weigh more than it says, so that pieces filled by
it would be short.
"""

from decimal import Decimal

from formulas.models import Product
from formulas.scaling import fill_of_mass, fill_of_volume
from ledger.errors import DensityMissing, Sentence
from ledger.measuring import density_of
from ledger.models import Lot
from ledger.quantities import Density

REFERENCE = Decimal(20)
# As warm as a workroom, by common practice: within these, water moves by less than 0.2 % and an oil
# by less than 0.4 % from what they are at 20 degC.
COOLEST, WARMEST = Decimal(15), Decimal(25)


def holds_at_20(density: Density) -> bool:
    """Whether it was taken at about 20 degC; one without a temperature is the usual one."""
    return density.celsius is None or COOLEST <= density.celsius <= WARMEST


def for_labels(*known: Density | None) -> Density | None:
    """The first of these that holds at about 20 degC; None where there is none."""
    return next((one for one in known if one is not None and holds_at_20(one)), None)


def density_lacking(name: str, given: Density | None) -> DensityMissing:
    """The refusal where no density at about 20 degC is known; why a warm one that was given, if one
    was, does not serve."""
    if given is None or given.celsius is None:
        return DensityMissing(name=name, pointer="/density")
    return DensityMissing(
        Sentence(
            "What the label's volume of {name} weighs goes by a density at 15 to 25 degC, and this"
            " one holds at {at} degC: give one that was taken there.",
            name=name,
            at=f"{given.celsius.normalize():f}",
        ),
        name=name,
        pointer="/density",
    )


def label_density(bulk: Lot, given: Density | None) -> Density | None:
    """What a label's volume of some bulk goes by: what was given for it, its own, its material's.

    Each only if it holds at about 20 degC.
    """
    return for_labels(given, density_of(bulk), density_of(bulk.material))


def nominal_of(product: Product, density: Density | None) -> Decimal | None:
    """Grams that a unit should hold, overfill included, by a density at 20 degC.

    None where only the density to say so is missing.
    """
    overfill = product.overfill_percent
    if product.fill_grams is not None:
        return fill_of_mass(product.fill_grams, overfill)
    if product.fill_ml is None or density is None:
        return None
    return fill_of_volume(product.fill_ml, density.grams_per_millilitre, overfill)
