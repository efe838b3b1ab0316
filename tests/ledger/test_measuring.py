"""What was typed becomes grams or pieces, and how is kept."""

from decimal import Decimal

import pytest

from ledger.errors import CountNotWhole, DensityMissing, UnitWrong
from ledger.measuring import density_of, measure
from ledger.models import Lot, Material
from ledger.quantities import Density, parse_density, parse_quantity

D = Decimal
OIL = Material(name="Olea Europaea Fruit Oil", measured_by="mass")
SYRUP = Material(
    name="Glycerin",
    measured_by="mass",
    density=D("1.26"),
    density_at=D(20),
    density_entered="1.26 g/mL",
)
BOTTLE = Material(name="bottle 250 mL", measured_by="count")


def test_a_mass_stays_and_names_no_density() -> None:
    found = measure(parse_quantity("2 lb 3 oz"), SYRUP, parse_density("1.25 g/mL"))
    assert (found.entered, found.quantity, found.counted) == ("2 lb 3 oz", D("992.233309"), False)
    assert found.facts() == {"entered": "2 lb 3 oz", "quantity": "992.233309"}


def test_a_volume_goes_by_the_material_s_density() -> None:
    found = measure(parse_quantity("4 gal"), SYRUP)
    assert found.facts() == {
        "entered": "4 gal",
        "quantity": "19078.475391",
        "density": "1.26",
        "density_of": "material",
        "density_at": "20",
    }


def test_the_lot_s_own_density_comes_first() -> None:
    found = measure(parse_quantity("1 L"), SYRUP, Density(D("1.25"), None, "1.25 g/mL"))
    assert (found.quantity, found.density_of) == (D(1250), "lot")
    assert "density_at" not in found.facts()


def test_without_any_density_the_material_is_named() -> None:
    with pytest.raises(DensityMissing, match="Olea Europaea"):
        measure(parse_quantity("1 L"), OIL)


def test_pieces_are_whole_and_nothing_else() -> None:
    found = measure(parse_quantity("60 each"), BOTTLE)
    assert (found.quantity, found.counted, found.facts()["quantity"]) == (D(60), True, "60")
    with pytest.raises(CountNotWhole):
        measure(parse_quantity("1.5 each"), BOTTLE)
    with pytest.raises(UnitWrong):
        measure(parse_quantity("1 kg"), BOTTLE)
    with pytest.raises(UnitWrong):
        measure(parse_quantity("1 each"), OIL)


def test_the_density_kept_with_a_row() -> None:
    assert density_of(OIL) is None
    assert density_of(SYRUP) == Density(D("1.26"), D(20), "1.26 g/mL")
    assert density_of(Lot(density=D("0.9"), density_entered="0.9 g/mL")) == Density(
        D("0.9"), None, "0.9 g/mL"
    )
