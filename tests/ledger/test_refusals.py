"""Every refusal of the ledger's pure rules, with its place and its sentence, at the very edge."""

from decimal import Decimal as D

import pytest

from ledger.costing import (
    Charge,
    ChargeKind,
    Draw,
    Layer,
    Measure,
    ReceivedLine,
    SpreadBy,
    land,
    spread,
    take,
)
from ledger.costing import CostFormula as Rule
from ledger.densities import (
    contraction_percent,
    density_from_specific_gravity,
    ideal_mixture_density,
    measured_density,
    water_density,
)
from ledger.errors import (
    CountNotWhole,
    CurrencyUnknown,
    DensityImplausible,
    DensityMissing,
    DensityNotPositive,
    DensityUnreadable,
    Invalid,
    MassMissing,
    MoneyNegative,
    MoneyTooFine,
    MoneyUnreadable,
    NotEnough,
    PiecesWanted,
    QuantityNotPositive,
    QuantityTooSmall,
    QuantityUnreadable,
    SplitImpossible,
    TemperatureOutOfRange,
    TemperatureUnreadable,
    UnitMissing,
    UnitWrong,
    WeightWanted,
)
from ledger.limits import Limit, inside
from ledger.money import parse_money, round_to_step, split_exactly
from ledger.quantities import (
    convert,
    count_of,
    grams_of,
    parse_density,
    parse_quantity,
    parse_temperature,
)
from tests.refusing import Asked, assert_refused

TO_SPREAD = "These lines have no value to spread the charge over: spread it by mass."
MONEY: list[Asked] = [
    (
        lambda: parse_money("1", "gold\nand more"),
        CurrencyUnknown,
        "",
        "'gold\\\\nand mo' is not a currency that money is paid in; give an ISO 4217 code such as"
        " USD.",
    ),
    (
        lambda: round_to_step(D(1), D(0)),
        Invalid,
        "",
        "Rounding needs a number and a step above zero.",
    ),
    (
        lambda: parse_money("1,50", "USD"),
        MoneyUnreadable,
        "",
        'Write the amount with a decimal point and no commas: "1234.50".',
    ),
    (
        lambda: parse_money("1.505", "USD"),
        MoneyTooFine,
        "",
        "USD has 2 decimals; write the amount with no more than that.",
    ),
    (
        lambda: split_exactly(D(1), [D(1)], step=D(0)),
        SplitImpossible,
        "",
        "A split needs a total that is a number and a step above zero.",
    ),
    (
        lambda: split_exactly(D("0.015"), [D(1)], step=D("0.01")),
        SplitImpossible,
        "",
        "0.015 is not a whole number of 0.01; round it first.",
    ),
]

FREE = ReceivedLine("Oil", D(0), D(100))
FREIGHT = Charge(ChargeKind.FREIGHT, D(5), SpreadBy.VALUE)
JARS = ReceivedLine("Jars", D(9), D(10), Measure.COUNT)


def freight(amount: str) -> Charge:
    return Charge(ChargeKind.FREIGHT, D(amount), SpreadBy.MASS)


def discounted(discount: str) -> ReceivedLine:
    return ReceivedLine("Oil", D(10), D(100), discount=D(discount))


COSTS: list[Asked] = [
    (
        lambda: land([FREE, discounted("10.01")], [], "USD"),
        Invalid,
        "/lines/1/discount",
        "The discount on Oil is above its price: enter a credit note for the rest.",
    ),
    (
        lambda: land([discounted("-0.01")], [], "USD"),
        MoneyNegative,
        "/lines/0/discount",
        "An amount of money must not be below zero here; a credit is an entry of its own.",
    ),
    (
        lambda: land([discounted("0.001")], [], "USD"),
        MoneyTooFine,
        "/lines/0/discount",
        "USD has 2 decimals; write the amount with no more than that.",
    ),
    (
        lambda: land([FREE], [freight("1"), freight("1.5")], "JPY"),
        MoneyTooFine,
        "/charges/1/amount",
        "JPY has 0 decimals; write the amount with no more than that.",
    ),
    (lambda: land([FREE], [FREIGHT], "USD"), Invalid, "/charges/0/spread_by", TO_SPREAD),
    (lambda: spread(FREIGHT, [FREE], "USD"), Invalid, "/spread_by", TO_SPREAD),
    (
        lambda: spread(freight("1"), [JARS], "USD"),
        MassMissing,
        "/spread_by",
        "A charge spread by mass needs the mass of one Jars: write it down with the material as its"
        " mass_each, or spread the charge by value.",
    ),
    (
        lambda: land([ReceivedLine("Oil", D(1), D(0))], [], "USD"),
        QuantityNotPositive,
        "/lines/0/quantity",
        "A quantity must be above zero; what goes back out is a movement of its own.",
    ),
    (
        lambda: take([Layer("A", D(5), D(1))], [Draw("A", D(0))], Rule.LOT),
        QuantityNotPositive,
        "",
        "A quantity must be above zero; what goes back out is a movement of its own.",
    ),
    (
        lambda: take([Layer("A", D(5), D(1))], [Draw("A", D(2)), Draw("A", D(4))], Rule.LOT),
        NotEnough,
        "",
        "4 is wanted and only 3 is there: take less, or receive more.",
    ),
]

NO_UNIT = 'A density needs its units: write it such as "1.26 g/mL".'
NO_RATIO = 'A density is a mass over a volume, such as "1.26 g/mL".'
OUTSIDE = "This temperature is outside -273.15 to 1000 degC, where it can be used here."
MEASURES: list[Asked] = [
    (
        lambda: parse_quantity("3 oz wt 2 lb"),
        QuantityUnreadable,
        "",
        "Parts of one quantity go from the larger unit to the smaller of one kind, such as"
        ' "2 lb 3 oz"; send different things separately.',
    ),
    (
        lambda: parse_quantity("1 000 g"),
        QuantityUnreadable,
        "",
        "Write the number without spaces inside it.",
    ),
    (
        lambda: parse_quantity("0.0000009 g"),
        QuantityTooSmall,
        "",
        "This quantity is below a millionth of a gram, millilitre or piece; check its unit.",
    ),
    (lambda: parse_density("1.26"), UnitMissing, "/value", NO_UNIT),
    (lambda: parse_density("1.26 mL/g"), UnitWrong, "/value", NO_RATIO),
    (
        lambda: parse_density("25.01 g/mL"),
        DensityImplausible,
        "/value",
        "No liquid or powder weighs 25.01 g/mL; check the number and both units.",
    ),
    (
        lambda: parse_density("SG 1.262"),
        DensityUnreadable,
        "/value",
        "A specific gravity needs the temperatures of sample and water in degC: write it such as"
        ' "SG 1.262 20/20", or give the density in g/mL.',
    ),
    (
        lambda: parse_density("SG 1.262 20/20", "25 degC"),
        DensityUnreadable,
        "/at",
        "The specific gravity was found at 20 degC, but the temperature given is 25 degC; give one"
        " temperature.",
    ),
    (lambda: parse_density("SG 1.262 1001/20"), TemperatureOutOfRange, "/value", OUTSIDE),
    (lambda: parse_temperature("1000.1 degC"), TemperatureOutOfRange, "", OUTSIDE),
    (lambda: parse_temperature("-273.16 degC"), TemperatureOutOfRange, "", OUTSIDE),
    (
        lambda: parse_temperature("20"),
        TemperatureUnreadable,
        "",
        'A temperature needs its scale: write "20 degC" or "68 degF".',
    ),
    (
        lambda: grams_of(parse_quantity("5 each"), density=None, name="Oil"),
        WeightWanted,
        "",
        'Oil is measured by mass: give a weight such as "2.5 kg", not a count.',
    ),
    (
        lambda: grams_of(parse_quantity("5 mL"), density=None, name="Oil"),
        DensityMissing,
        "",
        "A volume of Oil becomes a mass only by a density: give the lot's or the material's.",
    ),
    (
        lambda: count_of(parse_quantity("5 g"), name="Jars"),
        PiecesWanted,
        "",
        'Jars is counted: give pieces such as "60 pieces", not a weight or a volume.',
    ),
    (
        lambda: count_of(parse_quantity("1.5 each"), name="Jars"),
        CountNotWhole,
        "",
        "Jars is counted in whole pieces: give a whole number.",
    ),
    (
        lambda: convert("5 g", "mL"),
        DensityMissing,
        "",
        "A mass becomes a volume, or a volume a mass, only by a density.",
    ),
    (lambda: convert("5 g", "each"), UnitWrong, "", 'A mass cannot be given in "each".'),
]

PH = Limit("pH", D(5), D(6))
LOOKS = Limit("appearance", text="clear")
LIMITS: list[Asked] = [
    (
        lambda: Limit("pH").check("/limits/0"),
        Invalid,
        "/limits/0",
        "Give a low or a high limit, or a text to agree with.",
    ),
    (
        lambda: Limit("pH", high=D(1), text="clear").check("/limits/0"),
        Invalid,
        "/limits/0",
        "Give a low or a high limit, or a text to agree with.",
    ),
    (
        lambda: Limit("pH", D(6), D(5)).check("/limits/0"),
        Invalid,
        "/limits/0/low",
        "The low limit lies above the high one.",
    ),
    (
        lambda: inside(LOOKS, D(1), "clear", "", "/results/0"),
        Invalid,
        "/results/0/text",
        "appearance is told by a text.",
    ),
    (
        lambda: inside(LOOKS, None, " ", ""),
        Invalid,
        "/text",
        "appearance is told by a text.",
    ),
    (
        lambda: inside(PH, None, "", "", "/results/0"),
        Invalid,
        "/results/0/value",
        "pH is told by a figure.",
    ),
    (
        lambda: inside(PH, D(5), "five", ""),
        Invalid,
        "/value",
        "pH is told by a figure.",
    ),
    (
        lambda: inside(PH, D(5), "", "%", "/results/0"),
        Invalid,
        "/results/0/unit",
        "pH is asked in no unit: give the result in that.",
    ),
    (
        lambda: inside(Limit("acid", high=D(5), unit="mg/g"), D(5), "", "%"),
        Invalid,
        "/unit",
        "acid is asked in mg/g: give the result in that.",
    ),
]


POSITIVE = "A density, and the mass and volume it comes of, are above zero."
HIDDEN = "There are hidden characters in this text; type it again by hand."
NUMBERS: list[Asked] = [
    (
        lambda: water_density(D("100.1")),
        TemperatureOutOfRange,
        "",
        "This temperature is outside 0 to 100 degC, where it can be used here.",
    ),
    (lambda: measured_density(D(0), D(1)), DensityNotPositive, "", POSITIVE),
    (lambda: density_from_specific_gravity(D(1), D(0)), DensityNotPositive, "", POSITIVE),
    (lambda: ideal_mixture_density([(D(1), D(0))]), DensityNotPositive, "", POSITIVE),
    (
        lambda: ideal_mixture_density([(D(1), D(1)), (D(0), D(1))]),
        DensityNotPositive,
        "",
        POSITIVE,
    ),
    (
        lambda: contraction_percent([D(1), D(0)], D(1)),
        Invalid,
        "",
        "Every volume must be above zero.",
    ),
    (
        lambda: parse_quantity("1" * 63 + " g"),
        QuantityUnreadable,
        "",
        "This is longer than 64 characters; check what was typed.",
    ),
    (lambda: parse_quantity("5\u200b g"), QuantityUnreadable, "", HIDDEN),
    (
        lambda: parse_quantity("1,5 g"),
        QuantityUnreadable,
        "",
        'Write numbers with a decimal point and no commas: "1.5" or "1234".',
    ),
    (
        lambda: parse_quantity("1.5e3 g"),
        QuantityUnreadable,
        "",
        'Write the number out in full, without an exponent: "1500".',
    ),
    (
        lambda: parse_quantity("1/0 g"),
        QuantityUnreadable,
        "",
        "A fraction cannot have zero below its line.",
    ),
]


@pytest.mark.parametrize("asked", [*NUMBERS, *MONEY, *COSTS, *MEASURES, *LIMITS])
def test_a_refusal_says_what_is_wrong_and_where(asked: Asked) -> None:
    assert_refused(*asked)
