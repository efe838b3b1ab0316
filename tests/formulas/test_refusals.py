"""Every refusal of the pure rules of formulas, with its place and sentence, at the very edge."""

from decimal import Decimal as D

import pytest

from formulas.capacities import water_fill
from formulas.composition import Composed, Ingredient, Kind
from formulas.costing import batch_cost, batch_yield
from formulas.errors import BalanceMissing, BalanceTooSmall, BatchTooSmall, OverMaximum
from formulas.net_contents import Rule, limits_of, spread_of, tolerable_negative_error
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
from formulas.substituting import Strength, corrected_balance, make_up, must_have_balance
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

ROOM = "The Directive rules 5 g to 10 kg, or 5 mL to 10 L; choose no rule for this size."
EMPTY = "The full piece weighs no more than the empty one: check gross and tare."
SHORTAGE = "An allowed shortage is above zero and below the nominal contents."
FILLS: list[Asked] = [
    (lambda: water_fill([], D(20)), Invalid, "/pieces", "Fill at least one piece."),
    (
        lambda: water_fill([(D(9), D(1)), (D(5), D(5))], D(20), pointer="/fills"),
        Invalid,
        "/fills/1/gross",
        EMPTY,
    ),
    (lambda: tolerable_negative_error(D("4.99")), Invalid, "", ROOM),
    (lambda: tolerable_negative_error(D("10000.01")), Invalid, "", ROOM),
    (lambda: limits_of(Rule.EU, D(5), by_volume=True, allowed=D(5)), Invalid, "", SHORTAGE),
    (lambda: limits_of(Rule.EU, D(5), by_volume=True, allowed=D(0)), Invalid, "", SHORTAGE),
    (lambda: spread_of([]), Invalid, "", "Weigh at least one unit."),
]

TOPPING_UP: list[Asked] = [
    (
        lambda: make_up(D(5), D(6), None),
        Invalid,
        "/lot",
        "What is kept is at most what is needed.",
    ),
    (
        lambda: make_up(D(5), D(5), None),
        QuantityNotPositive,
        "/lot",
        "There is nothing to make up.",
    ),
    (
        lambda: make_up(D("0.01"), D(0), Strength(D(20), D(100))),
        QuantityNotPositive,
        "/lot",
        "What is missing is less than the scale can weigh of the substitute.",
    ),
    (
        lambda: make_up(D(5), D(0), Strength(D(0), D(20))),
        Invalid,
        "",
        "Active matter is above 0 and at most 100 percent.",
    ),
    (
        lambda: corrected_balance(D(10), D(7), D(4)),
        BalanceTooSmall,
        "/material",
        "The substitute brings 4 g more, and the balance line can give 3 g at most.",
    ),
    (
        lambda: must_have_balance(make_up(D(10), D(0), Strength(D(50), D(25))), has_balance=False),
        BalanceMissing,
        "/material",
        "The substitute brings 10.00 g more or less, and no line is the balance to give way.",
    ),
]


@pytest.mark.parametrize("asked", [*SCALING, *COSTING, *FILLS, *TOPPING_UP])
def test_a_refusal_says_what_is_wrong_and_where(asked: Asked) -> None:
    assert_refused(*asked)
