"""What a label's volume weighs goes by a density at about 20 degC, the first that is known of."""

from dataclasses import replace

import pytest

from formulas.composing import write_formula
from formulas.filling import fill
from formulas.label_volumes import for_labels, holds_at_20
from formulas.targeting import fill_weight
from formulas.unit_weighings import Weighed, units_of_fill, weigh_units
from ledger.errors import DensityMissing
from ledger.lots import measure_density
from ledger.quantities import Density, parse_density, parse_quantity
from tests.factories import MORNING, D, Workshop

WARM = parse_density("0.98 g/mL", "60 degC")
USUAL = parse_density("1.02 g/mL")


@pytest.mark.parametrize(
    ("at", "holds"),
    [(None, True), ("20", True), ("15", True), ("25", True), ("14.99", False), ("25.01", False)],
)
def test_the_usual_temperatures(at: str | None, holds: bool) -> None:
    assert holds_at_20(Density(D(1), None if at is None else D(at), "1 g/mL")) is holds


def test_the_first_that_holds() -> None:
    other = parse_density("1.01 g/mL", "20 degC")
    assert for_labels(None, WARM, other, USUAL) == other
    assert for_labels(WARM, None) is None
    assert for_labels() is None


def test_a_bulk_of_which_only_a_warm_density_is_known(shop: Workshop) -> None:
    """250 mL weigh nobody knows what, until 1.02 g/mL at 20 degC gives 255 g; 98 g are 100 mL."""
    oil = shop.material("Glycerin")
    shop.receive(oil, "10 kg", "100.00")
    draft = replace(shop.draft("Wash", [(oil, "100")]), density=WARM)
    version = shop.does(write_formula, draft)
    bulk = shop.made_lot(version, "10000")
    product = shop.product(version, "250 mL")
    told = shop.does(fill_weight, product=product.id, bulk=bulk)
    assert (told.nominal, told.density, told.lowest, told.warm) == (None, None, None, WARM)
    asked = {"product": product.id, "lot": bulk.id, "units": 1, "happened_at": MORNING}
    with pytest.raises(DensityMissing, match="judged at 20 degC") as refused:
        shop.does(fill, **asked)
    assert refused.value.pointer == "/used"
    with pytest.raises(DensityMissing, match="a density at 20 degC"):
        shop.plan(product, 10)
    filled = shop.does(fill, **asked, used=parse_quantity("100 mL"))
    assert (filled.filling.used_grams, filled.nominal_grams) == (98, None)
    units = shop.does(units_of_fill, fill=filled.filling.id)
    weighed = {"of": units, "weighed": [Weighed(parse_quantity("255 g"))]}
    weighed |= {"happened_at": MORNING, "now": MORNING}
    with pytest.raises(DensityMissing, match="this one holds at 60 degC"):
        shop.does(weigh_units, **weighed, density=WARM)
    with pytest.raises(DensityMissing, match="only by a density"):
        shop.does(weigh_units, **weighed)
    shop.does(measure_density, lot=bulk.id, density=USUAL, version=None)
    weighed["of"] = shop.does(units_of_fill, fill=filled.filling.id)
    row, _ = shop.does(weigh_units, **weighed, density=WARM)
    assert (row.nominal_grams, row.density_of) == (255, "lot")
