"""Factors and conversions against what the standards bodies publish."""

import pytest

from ledger.errors import DensityMissing
from ledger.quantities import convert, parse_temperature_difference

from .rows import Row, published_rows


@pytest.mark.parametrize("row", published_rows("units.csv", "SP 811", "convert", "temperature deg"))
def test_conversion(row: Row) -> None:
    assert row.agrees(convert(f"{row.inputs['value']} {row.inputs['from']}", row.inputs["to"]))


@pytest.mark.parametrize("row", published_rows("units.csv", "temperature DIFFERENCE"))
def test_temperature_difference(row: Row) -> None:
    assert row.agrees(parse_temperature_difference(f"{row.inputs['difference_degF']} degF"))


@pytest.mark.parametrize("row", published_rows("units.csv", "reject"))
def test_refused_without_density(row: Row) -> None:
    with pytest.raises(DensityMissing):
        convert(f"{row.inputs['value']} {row.inputs['from']}", row.inputs["to"])
