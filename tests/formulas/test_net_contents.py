"""Net contents and fill targets, from their definitions and by properties."""

from decimal import Decimal
from statistics import NormalDist, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t

from formulas.capacities import millilitres_of_water, usable_of, water_fill
from formulas.fill_targets import (
    ONE_IN_40,
    ONE_IN_10000,
    STEP,
    Floor,
    Giveaway,
    above,
    floors_of,
    keeps,
    lowest_target,
    percent_above,
)
from formulas.net_contents import (
    MEAN_ALLOWANCE,
    SAMPLE_CORRECTION,
    Limits,
    Rule,
    Spread,
    Verdict,
    judge,
    limits_of,
    maximum_allowable_variation,
    mean_allowance,
    sample_size,
    spread_of,
    tolerable_negative_error,
)
from ledger.errors import Invalid, Sentence, TemperatureOutOfRange

D = Decimal
EU_250 = limits_of(Rule.EU, D(250), by_volume=True)
US_250 = limits_of(Rule.US, D(250), by_volume=False)
grams = st.decimals("1", "9000", places=2)
deviations = st.decimals("0", "30", places=3)


def test_the_quantiles_are_those_of_the_normal_distribution() -> None:
    assert round(NormalDist().inv_cdf(1 - 1 / 40), 6) == float(ONE_IN_40)
    assert round(NormalDist().inv_cdf(1 - 1 / 10000), 6) == float(ONE_IN_10000)


@pytest.mark.parametrize("size", list(SAMPLE_CORRECTION))
def test_sample_correction_factors_are_students(size: int) -> None:
    assert round(t.ppf(0.975, size - 1) / size**0.5, 3) == float(SAMPLE_CORRECTION[size])


@pytest.mark.parametrize("size", list(MEAN_ALLOWANCE))
def test_allowances_of_the_directive_are_students(size: int) -> None:
    assert round(t.ppf(0.995, size - 1) / size**0.5, 3) == float(MEAN_ALLOWANCE[size])


@pytest.mark.parametrize(("lot", "sample"), [(1, 1), (7, 7), (12, 12), (250, 12), (251, 24)])
def test_sample_sizes(lot: int, sample: int) -> None:
    assert sample_size(lot) == sample
    assert sample_size(3201) == 48


def test_a_percentage_is_rounded_up_to_a_tenth() -> None:
    assert tolerable_negative_error(D(33)) == D("3.0")
    assert tolerable_negative_error(D("12.3")) == D("1.2")
    for outside in ("4.99", "10000.01"):
        with pytest.raises(Invalid):
            tolerable_negative_error(D(outside))


def test_smallest_and_largest_packages_by_weight() -> None:
    assert maximum_allowable_variation(D(30)) == 3
    assert maximum_allowable_variation(D(30000)) == 600


def test_what_the_maker_read_goes_before_the_tables() -> None:
    own = limits_of(Rule.US, D(250), by_volume=True, allowed=D("9.4"))
    assert (own.least, own.short) == (D("240.6"), D("240.6"))
    assert "entered" in own.source
    assert "stand-in" in limits_of(Rule.US, D(250), by_volume=True).source
    for wrong in (D(0), D(250)):
        with pytest.raises(Invalid):
            limits_of(Rule.EU, D(250), by_volume=True, allowed=wrong)


@given(st.lists(st.decimals("200", "300", places=1), min_size=2, max_size=40))
def test_the_spread_is_that_of_a_sample(contents: list[Decimal]) -> None:
    spread = spread_of(contents)
    assert spread.mean * len(contents) == pytest.approx(sum(contents))
    assert spread.deviation is not None
    assert float(spread.deviation) == pytest.approx(stdev([float(one) for one in contents]))
    assert spread.least <= spread.mean <= spread.greatest


def test_one_unit_has_no_spread_and_none_is_refused() -> None:
    assert spread_of([D(250)]).deviation is None
    with pytest.raises(Invalid):
        spread_of([])


def judged(limits: Limits, contents: list[str], lot: int) -> tuple[Verdict, int, int, int]:
    found = judge(limits, [D(one) for one in contents], lot)
    return found.verdict, found.below_short, found.below_least, len(found.reasons)


def test_verdicts_of_the_packers_rules() -> None:
    assert judged(EU_250, ["250", "251"], 2) == (Verdict.HOLDS, 0, 0, 0)
    assert judged(EU_250, ["241", "259"], 2) == (Verdict.HOLDS, 0, 0, 0)
    # One below T1: of 2 in 39 too many, of 2 in 40 perhaps not.
    assert judged(EU_250, ["240.9", "260"], 39) == (Verdict.FAILS, 1, 0, 1)
    assert judged(EU_250, ["240.9", "260"], 40) == (Verdict.MARGINAL, 1, 0, 1)
    assert judged(EU_250, ["240.9"] + ["260"] * 39, 40) == (Verdict.HOLDS, 1, 0, 0)
    assert judged(EU_250, ["231.9"] + ["260"] * 39, 400) == (Verdict.FAILS, 1, 1, 1)
    assert judged(EU_250, ["232"] + ["260"] * 39, 400) == (Verdict.HOLDS, 1, 0, 0)


def test_verdicts_of_the_handbook() -> None:
    least = US_250.least
    assert least == D("237.3")
    assert judged(US_250, ["237.3"] + ["260"] * 11, 60) == (Verdict.HOLDS, 0, 0, 0)
    assert judged(US_250, ["237.2"] + ["260"] * 11, 60) == (Verdict.FAILS, 1, 1, 1)
    assert judged(US_250, ["237.2"] + ["260"] * 47, 9000) == (Verdict.MARGINAL, 1, 1, 1)


def test_a_mean_below_nominal_may_be_chance_in_a_sample_but_not_in_all() -> None:
    """Twelve with mean 249.5 and standard deviation 1.04: 0.635 of it is 0.66, above 0.5."""
    contents = ["248.5", "250.5"] * 6
    assert judged(US_250, contents, 60)[0] is Verdict.MARGINAL
    assert judged(US_250, contents, 12)[0] is Verdict.FAILS
    assert judged(US_250, ["249.2", "249.4"] * 6, 60)[0] is Verdict.FAILS
    assert judged(US_250, ["248.5", "250.5"] * 30, 600)[0] is Verdict.FAILS
    assert judged(EU_250, ["249.9"], 60)[0] is Verdict.FAILS


def test_a_mean_as_far_below_nominal_as_chance_may_bring_it_is_still_chance() -> None:
    """Twelve whose deviation is 2: by 0.635 of it (NIST HB 133, Table 2-1) and not by more."""
    apart = [3, -3, 3, -3, 2, -2, *[0] * 6]
    at = [str(Decimal("248.73") + each) for each in apart]
    assert judged(US_250, at, 60)[0] is Verdict.MARGINAL
    below = [str(Decimal(each) - Decimal("0.01")) for each in at]
    assert judged(US_250, below, 60)[0] is Verdict.FAILS


@given(nominal=grams, deviation=deviations, units=st.integers(1, 5000), rule=st.sampled_from(Rule))
def test_the_target_is_the_lowest(
    nominal: Decimal, deviation: Decimal, units: int, rule: Rule
) -> None:
    limits = limits_of(rule, max(nominal, D(5)), by_volume=False)
    target = lowest_target(limits, deviation, units)
    assert keeps(limits, target.grams, deviation, units)
    assert not keeps(limits, target.grams - STEP, deviation, units)
    assert target.grams >= limits.nominal
    assert target.floors[target.governed_by] == max(target.floors.values())


@given(nominal=grams, deviation=deviations, units=st.integers(1, 5000))
def test_more_spread_never_lowers_the_target(
    nominal: Decimal, deviation: Decimal, units: int
) -> None:
    limits = limits_of(Rule.EU, max(nominal, D(5)), by_volume=False)
    more = lowest_target(limits, deviation + D("0.5"), units).grams
    assert more >= lowest_target(limits, deviation, units).grams


def test_each_condition_may_govern() -> None:
    assert lowest_target(EU_250, D(1), 60).governed_by is Floor.MEAN
    assert lowest_target(EU_250, D(0), 60).grams == 250
    assert lowest_target(EU_250, D(6), 600).governed_by is Floor.LEAST
    # 250 - 9 + 1.96 · 4.9 = 250.6 against 250 - 18 + 3.72 · 4.9 = 250.2
    assert lowest_target(EU_250, D("4.9"), 5000).governed_by is Floor.SHORT
    assert Floor.SHORT not in floors_of(US_250, D(1), 60)
    for deviation, units in ((D(-1), 1), (D("NaN"), 1), (D(1), 0)):
        with pytest.raises(Invalid):
            floors_of(EU_250, deviation, units)


@given(st.lists(st.tuples(grams, st.integers(1, 500)), min_size=1, max_size=8), grams)
def test_giveaways_sum(fills: list[tuple[Decimal, int]], nominal: Decimal) -> None:
    """What each lot gives away makes what all of them give away together, in grams and money."""
    each = [Giveaway(above(nominal, fill), units, D("0.0042")) for fill, units in fills]
    filled = sum(max(fill, nominal) * units for fill, units in fills)
    units = sum(units for _, units in fills)
    assert sum(one.grams for one in each) == filled - nominal * units
    assert sum(one.money or 0 for one in each) == (filled - nominal * units) * D("0.0042")


def test_giveaway_without_a_cost_and_below_nominal() -> None:
    assert above(D(255), D(254)) == 0
    assert percent_above(D(255), D("257.55")) == 1
    assert Giveaway(D(1), 3, None).money is None


def test_water_fill() -> None:
    """250 g of water at 20 degC as a balance shows them are 250.71 mL (z factor 1.0028 mL/g)."""
    assert millilitres_of_water(D(250), D(20)) == D("250.71")
    fill = water_fill([(D("280.4"), D("28.4")), (D("279.4"), D("28.4"))], D(20))
    assert (fill.millilitres, fill.least, fill.most, fill.mean) == (
        (D("252.72"), D("251.72")),
        D("251.72"),
        D("252.72"),
        D("252.22"),
    )
    assert usable_of(D("270"), D("5")) == D("256.50")
    for pieces in ([], [(D(28), D(28))]):
        with pytest.raises(Invalid):
            water_fill(pieces, D(20))
    with pytest.raises(TemperatureOutOfRange):
        millilitres_of_water(D(1), D(101))


def test_limits_in_another_unit_are_the_same_limits() -> None:
    """250 mL at 1.02 g/mL: 255 g, of which 9.18 g may lack once and 18.36 g never."""
    grams = EU_250.times(D("1.02"))
    assert grams == Limits(Rule.EU, D(255), D("9.18"), EU_250.source)
    assert (grams.short, grams.least) == (D("245.82"), D("236.64"))


@pytest.mark.parametrize(
    ("rule", "weighed", "lot", "factor"),
    [
        (Rule.US, 12, 60, "0.635"),
        (Rule.US, 13, 60, "0.422"),
        (Rule.US, 49, 60, "0"),
        (Rule.US, 12, 12, "0"),
        (Rule.EU, 12, 60, "0.640"),
        (Rule.EU, 20, 60, "0.640"),
        (Rule.EU, 21, 60, "0.503"),
        (Rule.EU, 51, 60, "0"),
    ],
)
def test_the_allowance_is_that_of_the_next_larger_sample(
    rule: Rule, weighed: int, lot: int, factor: str
) -> None:
    spread = Spread(weighed, D(250), D(2), D(248), D(252))
    assert mean_allowance(rule, spread, lot) == 2 * D(factor)
    alone = Spread(weighed, D(250), None, D(250), D(250))
    assert mean_allowance(rule, alone, lot) == 0


def test_the_same_mean_is_chance_by_one_rule_and_not_by_the_other() -> None:
    """0.666 below with a deviation of 1.0445: 0.640 of it is 0.668, 0.635 of it is 0.663."""
    contents = ["248.334", "250.334"] * 6
    assert judged(EU_250, contents, 60)[0] is Verdict.MARGINAL
    assert judged(US_250, contents, 60)[0] is Verdict.FAILS


def test_a_package_at_the_end_of_a_row_is_of_that_row() -> None:
    """0.08 lb is of the first row, 0.12 lb still; a pinch more is of the second (0.012 lb)."""
    pound = D("453.59237")
    assert maximum_allowable_variation(D("0.08") * pound) == D("3.6")
    assert maximum_allowable_variation(D("0.12") * pound) == D("3.6")
    assert maximum_allowable_variation(D("0.1201") * pound) == D("5.4")


def test_limits_say_where_they_come_from() -> None:
    own = limits_of(Rule.EU, D(250), by_volume=True, allowed=D("0.5"))
    assert own == Limits(Rule.EU, D(250), D("0.5"), "as the maker entered it")
    assert limits_of(Rule.EU, D(250), by_volume=True) == Limits(
        Rule.EU, D(250), D(9), "Directive 76/211/EEC, Annex I, 2.4"
    )
    assert limits_of(Rule.US, D(250), by_volume=False) == Limits(
        Rule.US,
        D(250),
        D("12.7"),
        "NIST Handbook 133, Table 2-5, from memory: compare it with the edition that your state"
        " has adopted, or enter the MAV",
    )
    assert limits_of(Rule.US, D(250), by_volume=True) == Limits(
        Rule.US,
        D(250),
        D(9),
        "a stand-in, the error of Directive 76/211/EEC: enter the MAV of NIST Handbook 133, Table"
        " 2-6, in the edition that your state has adopted",
    )
    assert tolerable_negative_error(D(10000)) == 150


def test_reasons_and_sources_know_how_they_were_made() -> None:
    """So each is said in another language as a whole, with its counts in places of their own."""
    judgements = [
        (US_250, ["237.2"] + ["260"] * 11, 60),
        (US_250, ["237.2"] + ["260"] * 47, 9000),
        (US_250, ["248.5", "250.5"] * 6, 60),
        (EU_250, ["240.9", "260"], 39),
        (EU_250, ["240.9", "260"], 40),
        (EU_250, ["231.9"] + ["260"] * 39, 400),
        (EU_250, ["249.9"], 60),
    ]
    reasons = {
        reason
        for limits, contents, lot in judgements
        for reason in judge(limits, [D(one) for one in contents], lot).reasons
    }
    own = limits_of(Rule.US, D(250), by_volume=True, allowed=D(9))
    by_volume = limits_of(Rule.US, D(250), by_volume=True)
    sources = {one.source for one in (own, by_volume, US_250, EU_250)}
    assert (len(reasons), len(sources)) == (7, 4)
    for one in (*reasons, *sources):
        assert isinstance(one, Sentence), one
    few = "Below the limit that few may be below: 1 of 2 weighed. In the whole lot of 40 at most 1"
    assert f"{few} may be: weigh the others." in reasons
    least = "Below the limit that none may be below: 1 of 40 weighed. Take out what is."
    assert least in reasons
