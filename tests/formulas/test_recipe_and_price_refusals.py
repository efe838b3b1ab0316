"""What formulas, measurements, fills and prices refuse, with its place and sentence."""

from decimal import Decimal as D
from fractions import Fraction

import pytest

from formulas.composition import (
    Balance,
    Fixed,
    Ingredient,
    Kind,
    Line,
    ToEffect,
    compose,
    left_after_loss,
)
from formulas.errors import (
    BalanceNotPositive,
    BelowCost,
    OverMaximum,
    PercentNot100,
    PriceImpossible,
    SecondBalance,
)
from formulas.fill_targets import floors_of
from formulas.judging import (
    Measure,
    MeasurementOutOfRange,
    MeasurementUnreadable,
    read_measure,
    read_window,
)
from formulas.ladder import Channel, Ending, end_price, price_channel, refuse_below_cost
from formulas.net_contents import Rule, Verdict, judge, limits_of
from formulas.pricing import (
    break_even,
    contribution,
    cost_for_markup,
    margin_from_markup,
    markup_from_margin,
    price_for_margin,
    price_for_markup,
)
from formulas.variances import Input, input_variances
from ledger.errors import Invalid, QuantityNotPositive
from tests.refusing import Asked, assert_refused

OIL = Ingredient(Kind.MATERIAL, "oil")


def line(amount: Fixed | Balance | ToEffect, place: int = 0) -> Line:
    return Line(OIL, amount, pointer=f"/lines/{place}")


SHARE = "A percent is above 0 and at most 100."
COMPOSING: list[Asked] = [
    (
        lambda: compose([line(Balance()), line(Balance(), 1)]),
        SecondBalance,
        "/lines/1",
        "Two lines are the balance: give all but one of them a percent.",
    ),
    (
        lambda: compose([line(Fixed(D("99.5")))]),
        PercentNot100,
        "/phases",
        "The lines make 99.5 %, not 100 %: change a percent, or let one line be the balance.",
    ),
    (
        lambda: compose([line(Fixed(D(100))), line(Balance(), 1)]),
        BalanceNotPositive,
        "/lines/1",
        "The other lines make 100 %, which leaves the balance line nothing: lower one of them.",
    ),
    (lambda: compose([line(Fixed(D(0)))]), Invalid, "/lines/0/percent", SHARE),
    (lambda: compose([line(Fixed(D("100.1")))]), Invalid, "/lines/0/percent", SHARE),
    (
        lambda: compose([line(Fixed(D("0.0000001")))]),
        Invalid,
        "/lines/0/percent",
        "A percent has at most six decimals.",
    ),
    (
        lambda: compose([line(ToEffect(D(0), D(2)))]),
        Invalid,
        "/lines/0/to_effect/typical_percent",
        SHARE,
    ),
    (
        lambda: compose([line(ToEffect(D(1), D(101)))]),
        Invalid,
        "/lines/0/to_effect/max_percent",
        SHARE,
    ),
    (
        lambda: compose([line(ToEffect(D(3), D(2)))]),
        OverMaximum,
        "/lines/0/to_effect/typical_percent",
        "3 % is above the maximum of 2 %: add less, or record a deviation.",
    ),
    (
        lambda: left_after_loss(D(100)),
        Invalid,
        "/process_loss_percent",
        "A process loss is at least 0 and below 100 percent.",
    ),
]

ORDER = "A low limit is not above the target, and the target not above the high limit."
IN_WORDS = "How it should look is said in words, as the target alone."
MEASURED: list[Asked] = [
    (
        lambda: read_measure(Measure.PH, "5,4"),
        MeasurementUnreadable,
        "",
        'This cannot be read: write a number such as "5.4".',
    ),
    (
        lambda: read_measure(Measure.VISCOSITY, "5200 s"),
        MeasurementUnreadable,
        "",
        'This cannot be read: write a viscosity such as "5200 mPa.s", "5200 cP" or "5.2 Pa.s".',
    ),
    (
        lambda: read_measure(Measure.FLOW_TIME, "38"),
        MeasurementUnreadable,
        "",
        'This cannot be read: write a time such as "38 s" or "2 min".',
    ),
    (
        lambda: read_measure(Measure.PH, "14.01"),
        MeasurementOutOfRange,
        "",
        "No batch measures 14.01 pH; check the number and its unit.",
    ),
    (
        lambda: read_measure(Measure.FLOW_TIME, "1441 min"),
        MeasurementOutOfRange,
        "",
        "No batch measures 86460 s; check the number and its unit.",
    ),
    (lambda: read_window(Measure.APPEARANCE, low="1"), Invalid, "/target", IN_WORDS),
    (lambda: read_window(Measure.APPEARANCE, target=" "), Invalid, "/target", IN_WORDS),
    (
        lambda: read_window(Measure.APPEARANCE, target="clear", high="1"),
        Invalid,
        "/target",
        IN_WORDS,
    ),
    (
        lambda: read_window(Measure.PH),
        Invalid,
        "/target",
        "A window has a target, a low limit or a high one.",
    ),
    (lambda: read_window(Measure.PH, target="5", low="6"), Invalid, "/low", ORDER),
    (lambda: read_window(Measure.PH, low="6", high="5"), Invalid, "/low", ORDER),
    (lambda: read_window(Measure.PH, target="6", high="5"), Invalid, "/target", ORDER),
    (lambda: read_window(Measure.PH, target="6", low="4", high="5"), Invalid, "/target", ORDER),
    (
        lambda: read_window(Measure.PH, low="5,1"),
        MeasurementUnreadable,
        "/low",
        'This cannot be read: write a number such as "5.4".',
    ),
]

LIMITS = limits_of(Rule.EU, D(250), by_volume=True)
STANDARD = [Input("oil", D(1), D(1), D(5), D(5))]
OF_STANDARD = "A standard has a mix and a yield above zero."


def variances(inputs: list[Input], output: str = "5", yields: str = "1") -> Asked:
    def ask() -> object:
        return input_variances(inputs, standard_yield=Fraction(yields), output=D(output))

    return ask, Invalid, "", OF_STANDARD


BATCHES: list[Asked] = [
    (
        lambda: floors_of(LIMITS, D("-0.1"), 5),
        Invalid,
        "/standard_deviation",
        "A standard deviation is zero or more.",
    ),
    (lambda: floors_of(LIMITS, D(1), 0), Invalid, "/units", "A batch has at least one unit."),
    variances(STANDARD, yields="0"),
    variances([Input("oil", D(0), D(1), D(5), D(5))]),
    (
        variances([*STANDARD, Input("dye", D(0), D(1), D("-0.1"), D(5))])[0],
        Invalid,
        "",
        "A figure of dye is below zero.",
    ),
    (
        variances(STANDARD, output="0")[0],
        QuantityNotPositive,
        "",
        "A quantity must be above zero; what goes back out is a movement of its own.",
    ),
]

COST = "A price is built on a unit cost above zero."
IMPOSSIBLE = "Margin and fees take 100 % of the price, which leaves nothing for the cost."
LOSS = "Each unit sold loses money at this price: no volume breaks even."
PRICES: list[Asked] = [
    (lambda: price_for_margin(D(0), D(1)), Invalid, "/unit_cost", COST),
    (lambda: price_for_markup(D(0), D(1)), Invalid, "/unit_cost", COST),
    (
        lambda: price_for_margin(D(1), D("60.5"), fee_percent=D("39.5")),
        PriceImpossible,
        "/margin_percent",
        IMPOSSIBLE,
    ),
    (lambda: markup_from_margin(D(100)), PriceImpossible, "/margin_percent", IMPOSSIBLE),
    (lambda: contribution(D(0), D(1)), Invalid, "/price", "A price must be above zero."),
    (lambda: break_even(D(1), D(2), D(2)), Invalid, "/price", LOSS),
    *(
        (ask, Invalid, f"/{name}", f"{name} must be zero or more.")
        for ask, name in (
            (lambda: price_for_margin(D(1), D(-1)), "margin_percent"),
            (lambda: price_for_margin(D(1), D(1), fee_percent=D(-1)), "fee_percent"),
            (lambda: price_for_margin(D(1), D(1), fixed_fee=D(-1)), "fixed_fee"),
            (lambda: price_for_markup(D(1), D(-1)), "markup_percent"),
            (lambda: cost_for_markup(D(-1), D(1)), "price"),
            (lambda: cost_for_markup(D(1), D(-1)), "markup_percent"),
            (lambda: margin_from_markup(D(-1)), "markup_percent"),
            (lambda: markup_from_margin(D(-1)), "margin_percent"),
            (lambda: break_even(D(-1), D(2), D(1)), "fixed_cost"),
            (lambda: break_even(D(1), D(2), D(1), target_profit=D(-1)), "target_profit"),
        )
    ),
]

ONE_WAY = (
    "Say a margin (of the price), a markup (on the cost) or the price itself: exactly one of them."
    " A margin of 60 % and a markup of 60 % are far apart."
)


def priced(channel: Channel, cost: str = "4") -> object:
    return price_channel(channel, D(cost), "USD")


def sold_at(price: str) -> None:
    refuse_below_cost(price_channel(Channel("Stall", price=D(price)), D(4), "USD"))


LADDERS: list[Asked] = [
    (lambda: priced(Channel("Shop")), Invalid, "/margin_percent", ONE_WAY),
    (
        lambda: priced(Channel("Shop", margin_percent=D(5), price=D(5))),
        Invalid,
        "/price",
        ONE_WAY,
    ),
    (
        lambda: priced(Channel("Shop", price=D(5), tax_percent=D("100.1"))),
        Invalid,
        "/tax_percent",
        "A tax is 0 to 100 percent.",
    ),
    (lambda: priced(Channel("Shop", price=D(0))), Invalid, "/price", "A price must be above zero."),
    (
        lambda: end_price(Fraction(5), Ending(D(0))),
        Invalid,
        "/ending/every",
        "Prices end at a step above zero.",
    ),
    (
        lambda: end_price(Fraction(5), Ending(D(1), D(1))),
        Invalid,
        "/ending/ends_in",
        "A price ends within its step: below it.",
    ),
    (
        lambda: priced(Channel("Shop", price=D(5), ending=Ending(D(1), D("0.999")))),
        Invalid,
        "/ending/ends_in",
        "Prices end in whole coins of 0.01.",
    ),
    (
        lambda: sold_at("3.99"),
        BelowCost,
        "",
        "Stall would bring in 3.990000 after fees for a unit that costs 4: raise the price, or send"
        " confirm_below_cost to sell at a loss knowingly.",
    ),
]


@pytest.mark.parametrize("asked", [*COMPOSING, *MEASURED, *BATCHES, *PRICES, *LADDERS])
def test_a_refusal_says_what_is_wrong_and_where(asked: Asked) -> None:
    assert_refused(*asked)


def test_what_pays_for_itself_exactly_is_not_below_cost() -> None:
    sold_at("4.00")


def test_the_reasons_of_a_verdict_are_whole_sentences() -> None:
    """240 weighed alone, 241 with a mean below, 231.9 too low; and 237.2 by the handbook."""
    mean = "The mean is below nominal."
    wide = ["240.9", "260"]
    us = limits_of(Rule.US, D(250), by_volume=False)
    chance = (
        "The mean is below nominal, within what chance may do to a sample of this size; the mean of"
        " the whole batch must not be below: weigh more, or fill more."
    )
    few = "Below the limit that few may be below: 1 of 2 weighed. In the whole lot of"
    for limits, contents, lot, verdict, reasons in (
        (LIMITS, ["249.9"], 60, Verdict.FAILS, [mean]),
        (us, ["248.5", "250.5"] * 6, 60, Verdict.MARGINAL, [chance]),
        (LIMITS, wide, 39, Verdict.FAILS, [f"{few} 39 at most 0 may be."]),
        (
            LIMITS,
            wide,
            85,
            Verdict.MARGINAL,
            [f"{few} 85 at most 2 may be: weigh the others."],
        ),
        (
            LIMITS,
            ["231.9", *["260"] * 39],
            400,
            Verdict.FAILS,
            ["Below the limit that none may be below: 1 of 40 weighed. Take out what is."],
        ),
        (
            us,
            ["237.2", *["260"] * 11],
            60,
            Verdict.FAILS,
            ["1 lack more than the maximum allowable variation."],
        ),
        (
            us,
            ["237.2", *["260"] * 47],
            9000,
            Verdict.MARGINAL,
            ["1 of 48 lack more than the maximum allowable one."],
        ),
    ):
        found = judge(limits, [D(one) for one in contents], lot)
        assert (found.verdict, list(found.reasons)) == (verdict, reasons)
