"""Every refusal of the pure rules of formulas, with its place and sentence, at the very edge."""

from decimal import Decimal as D

import pytest

from formulas.composition import Composed, Ingredient, Kind
from formulas.costing import batch_cost, batch_yield
from formulas.errors import BatchTooSmall, OverMaximum
from formulas.scaling import (
    check_maximum,
    fill_of_mass,
    fill_of_volume,
    most_to_effect,
    scale_batch,
    scale_lines,
    scale_output,
    scale_units,
)
from ledger.errors import DensityNotPositive, Invalid, QuantityNotPositive
from tests.refusing import Asked, assert_refused

NOTHING = "A quantity must be above zero; what goes back out is a movement of its own."
WATER, OIL = (Ingredient(Kind.MATERIAL, name) for name in ("water", "oil"))
LINES = [Composed(WATER, D(1), is_balance=True), Composed(OIL, D(99))]


def too_small(grams: str) -> str:
    return f"At {grams} g the scale's step of 0.01 g leaves nothing to weigh: make more."


SCALING: list[Asked] = [
    (lambda: scale_batch(LINES, D(0)), QuantityNotPositive, "/batch", NOTHING),
    (lambda: scale_output(LINES, D(0)), QuantityNotPositive, "/output", NOTHING),
    (lambda: scale_units(LINES, 0, D(5)), QuantityNotPositive, "/units", NOTHING),
    (lambda: fill_of_volume(D(0), D(1)), QuantityNotPositive, "/fill/nominal", NOTHING),
    (lambda: fill_of_mass(D(0)), QuantityNotPositive, "/fill/nominal", NOTHING),
    (
        lambda: fill_of_volume(D(250), D(0)),
        DensityNotPositive,
        "/density",
        "A density must be above zero.",
    ),
    (
        lambda: fill_of_mass(D(250), D("-0.01")),
        Invalid,
        "/fill/overfill_percent",
        "An overfill is 0 percent or more.",
    ),
    (lambda: scale_lines(LINES, D(0)), BatchTooSmall, "", too_small("0")),
    # One percent of 0.40 g is less than half a step, and the oil takes all.
    (lambda: scale_lines(LINES, D("0.40")), BatchTooSmall, "", too_small("0.40")),
    (
        lambda: most_to_effect(D(100), D(100)),
        Invalid,
        "",
        "A maximum that limits an addition is above 0 and below 100 percent.",
    ),
    (
        lambda: check_maximum(D("5.000001"), D(95), D(5)),
        OverMaximum,
        "",
        "5.000001 % is above the maximum of 5 %: add less, or record a deviation.",
    ),
]

COSTING: list[Asked] = [
    (
        lambda: batch_cost(materials=D(1), output_grams=D(0)),
        QuantityNotPositive,
        "/output",
        "A finished batch has some output: scrap the batch if nothing of it is good.",
    ),
    (
        lambda: batch_cost(materials=D(1), output_grams=D(1), declared_grams=D("-0.1")),
        Invalid,
        "/abnormal_loss/quantity",
        "A declared loss is zero or more.",
    ),
    (
        lambda: batch_cost(materials=D(1), output_grams=D(1), units=0),
        QuantityNotPositive,
        "/units",
        NOTHING,
    ),
    (
        lambda: batch_yield(weighed_grams=D(0), output_grams=D(1), planned_output_grams=D(1)),
        QuantityNotPositive,
        "",
        NOTHING,
    ),
]


@pytest.mark.parametrize("asked", [*SCALING, *COSTING])
def test_a_refusal_says_what_is_wrong_and_where(asked: Asked) -> None:
    assert_refused(*asked)
