"""Limits of net contents and capacities by water against published figures."""

from decimal import Decimal

import pytest

from formulas.capacities import millilitres_of_water
from formulas.net_contents import (
    MEAN_ALLOWANCE,
    SAMPLE_CORRECTION,
    Rule,
    limits_of,
    maximum_allowable_variation,
    tolerable_negative_error,
)
from ledger.errors import Invalid

from .rows import Row, published_rows

FILE = "net_contents.csv"
POUND = Decimal("453.59237")


@pytest.mark.parametrize("row", published_rows(FILE, "tolerable negative error"))
def test_tolerable_negative_error(row: Row) -> None:
    assert row.agrees(tolerable_negative_error(row.number("nominal")))


@pytest.mark.parametrize("row", published_rows(FILE, "T1", "T2"))
def test_limits_of_the_directive(row: Row) -> None:
    limits = limits_of(Rule.EU, row.number("nominal"), by_volume=True)
    assert row.agrees(limits.short if row.quantity.startswith("T1") else limits.least)


@pytest.mark.parametrize("nominal", ["4.9", "10000.1"])
def test_the_directive_rules_no_other_size(nominal: str) -> None:
    with pytest.raises(Invalid, match="5 g to 10 kg"):
        tolerable_negative_error(Decimal(nominal))


@pytest.mark.parametrize("row", published_rows(FILE, "maximum allowable variation by weight"))
def test_maximum_allowable_variation(row: Row) -> None:
    assert row.agrees(maximum_allowable_variation(row.number("nominal_g")))


@pytest.mark.parametrize("row", published_rows(FILE, "maximum allowable variation in pounds"))
def test_both_edges_of_each_band_of_the_handbook(row: Row) -> None:
    assert row.agrees(maximum_allowable_variation(row.number("pounds") * POUND))


@pytest.mark.parametrize("row", published_rows(FILE, "sample correction", "allowance of the mean"))
def test_factors(row: Row) -> None:
    table = SAMPLE_CORRECTION if row.quantity.startswith("sample") else MEAN_ALLOWANCE
    assert row.agrees(table[int(row.number("n"))])


@pytest.mark.parametrize("row", published_rows(FILE, "volume of water"))
def test_volume_of_water(row: Row) -> None:
    found = millilitres_of_water(row.number("grams"), row.number("t_C"))
    assert row.agrees(found)
    assert not row.agrees(Decimal(row.inputs["grams"])), "1 g of water is not 1 mL"
