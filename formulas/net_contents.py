"""Net contents: what a rule allows a unit to lack, and whether weighed units keep the rule.

Two rules, of which a product follows one:

- US: the average requirement and the individual package requirement of NIST Handbook 133, as the
  Uniform Packaging and Labeling Regulation of NIST Handbook 130 has them: the mean is at least
  what the label says, and no unit is short by more than the maximum allowable variation (MAV).
- EU: the three packers' rules of Directive 76/211/EEC, Annex I: the mean is at least nominal; at
  most 1 in 40 lacks more than the tolerable negative error (TNE); none lacks more than twice that.

Nominal quantities and contents are all in one unit, grams or millilitres. A record and calculator,
not a verdict of an authority.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_DOWN, Decimal
from enum import StrEnum

from ledger.errors import Invalid, Sentence

ZERO = Decimal(0)
CAUTION = "Rules differ by place; check your local authority."
# Where an allowed shortage comes from; a page says it in its reader's language.
AS_ENTERED = Sentence("as the maker entered it")
BY_DIRECTIVE = Sentence("Directive 76/211/EEC, Annex I, 2.4")
BY_HANDBOOK = Sentence(
    "NIST Handbook 133, Table 2-5, from memory: compare it with the edition that your state has"
    " adopted, or enter the MAV"
)
STANDS_IN = Sentence(
    "a stand-in, the error of Directive 76/211/EEC: enter the MAV of NIST Handbook 133, Table 2-6,"
    " in the edition that your state has adopted"
)
# Directive 76/211/EEC, Annex I, 3.1 and Annex II, 2.2: a batch may have 2.5 % beyond the TNE.
ONE_IN = 40


class Rule(StrEnum):
    """Where the units are sold, by the rule that holds there."""

    US = "us"
    EU = "eu"


class Verdict(StrEnum):
    """`marginal` passes by the allowance for sampling alone, or wants more units weighed."""

    HOLDS = "holds"
    MARGINAL = "marginal"
    FAILS = "fails"


# Directive 76/211/EEC, Annex I, 2.4, as amended by 78/891/EEC: up to this nominal quantity in g or
# mL, a percent of it or so much. The rows up to 1000 as legislation.gov.uk has them; the last one
# and the rounding up to a tenth as § 9(3) of the German Fertigpackungsverordnung (2020) and § 9(1)
# of the Austrian one (1993) have them.
_TNE: tuple[tuple[Decimal, Decimal | None, Decimal | None], ...] = (
    (Decimal(50), Decimal(9), None),
    (Decimal(100), None, Decimal("4.5")),
    (Decimal(200), Decimal("4.5"), None),
    (Decimal(300), None, Decimal(9)),
    (Decimal(500), Decimal(3), None),
    (Decimal(1000), None, Decimal(15)),
    (Decimal(10000), Decimal("1.5"), None),
)
_TNE_LOW = Decimal(5)
_TENTH = Decimal("0.1")
_ONE = Decimal(1)

# NIST Handbook 133, Table 2-5 (Appendix A), packages labelled by weight: up to so many pounds, the
# MAV in pounds. From memory of the table, but for what was met elsewhere: 3 oz, 0.25 oz; 113 g,
# 7 g; 8 oz, 7/16 oz; and that a row ends at 17.28 oz (1.08 lb). Read the edition that your state
# has adopted before you rely on it. Grams are cut as the table cuts them, by memory as well: to a
# tenth below 0.1 lb, and to a whole gram above.
_POUND = Decimal("453.59237")
_MAV_POUNDS: tuple[tuple[str, str], ...] = (
    ("0.12", "0.008"),
    ("0.18", "0.012"),
    ("0.26", "0.016"),
    ("0.34", "0.020"),
    ("0.46", "0.024"),
    ("0.58", "0.028"),
    ("0.70", "0.032"),
    ("0.84", "0.036"),
    ("0.94", "0.040"),
    ("1.08", "0.044"),
    ("1.26", "0.048"),
    ("1.40", "0.052"),
    ("1.54", "0.056"),
    ("1.70", "0.060"),
    ("1.88", "0.064"),
    ("2.14", "0.070"),
    ("2.48", "0.078"),
    ("2.76", "0.086"),
    ("3.20", "0.094"),
    ("3.90", "0.11"),
    ("4.70", "0.12"),
    ("5.80", "0.14"),
    ("6.80", "0.15"),
    ("7.90", "0.17"),
    ("9.40", "0.19"),
    ("11.70", "0.22"),
    ("14.30", "0.25"),
    ("17.70", "0.28"),
    ("23.20", "0.31"),
    ("31.60", "0.37"),
    ("42.40", "0.44"),
    ("54.40", "0.50"),
)
_MAV_SMALL = (Decimal("0.08"), Decimal(10))
_MAV_WHOLE_GRAMS = Decimal("0.1")
_MAV_LARGE_PERCENT = Decimal(2)

# NIST Handbook 133, Table 2-1, Category A: the sample correction factor by the number of units in
# the sample. Each is Student's t (97.5 %, n - 1 degrees of freedom) over the root of n, computed
# here to three decimals; sample sizes are from memory of the table.
SAMPLE_CORRECTION: dict[int, Decimal] = {
    2: Decimal("8.985"),
    3: Decimal("2.484"),
    4: Decimal("1.591"),
    5: Decimal("1.242"),
    6: Decimal("1.049"),
    7: Decimal("0.925"),
    8: Decimal("0.836"),
    9: Decimal("0.769"),
    10: Decimal("0.715"),
    11: Decimal("0.672"),
    12: Decimal("0.635"),
    24: Decimal("0.422"),
    48: Decimal("0.290"),
}
# How many of a sample of 48 may pass the MAV, and of any smaller one (the same table).
_MAV_ALLOWED = {48: 1}
# Sample sizes by the size of the lot (the same table): up to 250 twelve, up to 3,200 twenty-four.
_SAMPLES = ((250, 12), (3200, 24))
_LARGEST_SAMPLE = 48

# Directive 76/211/EEC, Annex II, 2.3: Student's t (99.5 %, n - 1) over the root of n, for the
# samples that the annex names.
MEAN_ALLOWANCE: dict[int, Decimal] = {
    20: Decimal("0.640"),
    30: Decimal("0.503"),
    50: Decimal("0.379"),
}


@dataclass(frozen=True, slots=True)
class Limits:
    """A rule for one nominal quantity: below `short` few or none, below `least` none.

    US: both are nominal - MAV. EU: nominal - TNE (T1) and nominal - 2·TNE (T2). `source` says
    where the allowed shortage comes from.
    """

    rule: Rule
    nominal: Decimal
    allowed: Decimal
    source: str

    @property
    def short(self) -> Decimal:
        return self.nominal - self.allowed

    @property
    def least(self) -> Decimal:
        return self.nominal - self.allowed * (2 if self.rule is Rule.EU else 1)

    def times(self, factor: Decimal) -> "Limits":
        """The same in another unit, by a density for example."""
        return Limits(self.rule, self.nominal * factor, self.allowed * factor, self.source)


@dataclass(frozen=True, slots=True)
class Spread:
    """Weighed contents: how many, their mean, standard deviation (n - 1), least and greatest."""

    count: int
    mean: Decimal
    deviation: Decimal | None
    least: Decimal
    greatest: Decimal


@dataclass(frozen=True, slots=True)
class Judged:
    """What the weighed units say of the batch, with the reason of each doubt."""

    verdict: Verdict
    below_short: int
    below_least: int
    reasons: tuple[str, ...]


def tolerable_negative_error(nominal: Decimal) -> Decimal:
    """The TNE of 5 to 10,000 g or mL; a percentage is rounded up to a tenth (Annex I, 2.4).

    Raises Invalid outside that range, for which the Directive has no rule.
    """
    if not _TNE_LOW <= nominal <= _TNE[-1][0]:
        raise Invalid(
            "The Directive rules 5 g to 10 kg, or 5 mL to 10 L; choose no rule for this size."
        )
    percent, amount = next((p, a) for most, p, a in _TNE if nominal <= most)
    if percent is None:
        return amount or ZERO
    return (nominal * percent / 100).quantize(_TENTH, rounding=ROUND_CEILING)


def maximum_allowable_variation(nominal_grams: Decimal) -> Decimal:
    """The MAV in grams of a package labelled by weight, cut as the table cuts it."""
    pounds = nominal_grams / _POUND
    if pounds < _MAV_SMALL[0]:
        return nominal_grams * _MAV_SMALL[1] / 100
    for most, allowed in _MAV_POUNDS:
        if pounds <= Decimal(most):
            step = _TENTH if Decimal(allowed) < _MAV_WHOLE_GRAMS else _ONE
            return (Decimal(allowed) * _POUND).quantize(step, rounding=ROUND_DOWN)
    return nominal_grams * _MAV_LARGE_PERCENT / 100


def limits_of(
    rule: Rule, nominal: Decimal, *, by_volume: bool, allowed: Decimal | None = None
) -> Limits:
    """What a rule allows; `allowed` is the maker's own reading of it and goes before the tables.

    For a US package labelled by volume the handbook's Table 2-6 is not kept here: until the maker
    enters its MAV, the Directive's error for the same nominal stands in. Raises Invalid.
    """
    if allowed is not None:
        if not 0 < allowed < nominal:
            raise Invalid("An allowed shortage is above zero and below the nominal contents.")
        return Limits(rule, nominal, allowed, AS_ENTERED)
    if rule is Rule.EU:
        error = tolerable_negative_error(nominal)
        return Limits(rule, nominal, error, BY_DIRECTIVE)
    if not by_volume:
        variation = maximum_allowable_variation(nominal)
        return Limits(rule, nominal, variation, BY_HANDBOOK)
    return Limits(rule, nominal, tolerable_negative_error(nominal), STANDS_IN)


def sample_size(lot_size: int) -> int:
    """How many units Category A of NIST Handbook 133 takes from a lot (Table 2-1)."""
    for most, wanted in _SAMPLES:
        if lot_size <= most:
            return min(lot_size, wanted)
    return _LARGEST_SAMPLE


def spread_of(contents: Sequence[Decimal]) -> Spread:
    """Mean, least, greatest, and with two or more the standard deviation over n - 1, unrounded.

    Raises Invalid for no contents.
    """
    if not contents:
        raise Invalid("Weigh at least one unit.")
    count = len(contents)
    mean = sum(contents, ZERO) / count
    deviation = None
    if count > 1:
        variance = sum(((one - mean) ** 2 for one in contents), ZERO) / (count - 1)
        deviation = variance.sqrt()
    return Spread(count, mean, deviation, min(contents), max(contents))


def mean_allowance(rule: Rule, spread: Spread, lot_size: int) -> Decimal:
    """By how much the mean of a sample may lie below nominal by chance alone.

    The factor of the next sample size in the rule's table that is as large or larger, times the
    standard deviation; none where the whole lot was weighed, or more than any table has.
    """
    if spread.deviation is None or spread.count >= lot_size:
        return ZERO
    table = SAMPLE_CORRECTION if rule is Rule.US else MEAN_ALLOWANCE
    factors = [factor for size, factor in sorted(table.items()) if size >= spread.count]
    return spread.deviation * factors[0] if factors else ZERO


def judge(limits: Limits, contents: Sequence[Decimal], lot_size: int) -> Judged:
    """What weighed units, of a lot of so many, say of the rule. Raises Invalid for no contents."""
    spread = spread_of(contents)
    below_short = sum(1 for one in contents if one < limits.short)
    below_least = sum(1 for one in contents if one < limits.least)
    doubts = [
        _of_mean(limits, spread, lot_size),
        _of_short(limits, spread.count, below_short, lot_size),
        _of_least(limits, spread.count, below_least),
    ]
    found = [doubt for doubt in doubts if doubt is not None]
    verdicts = {verdict for verdict, _ in found}
    worst = next((v for v in (Verdict.FAILS, Verdict.MARGINAL) if v in verdicts), Verdict.HOLDS)
    return Judged(worst, below_short, below_least, tuple(reason for _, reason in found))


def _of_mean(limits: Limits, spread: Spread, lot_size: int) -> tuple[Verdict, str] | None:
    if spread.mean >= limits.nominal:
        return None
    if spread.mean >= limits.nominal - mean_allowance(limits.rule, spread, lot_size):
        return Verdict.MARGINAL, Sentence(
            "The mean is below nominal, within what chance may do to a sample of this size; the"
            " mean of the whole batch must not be below: weigh more, or fill more."
        )
    return Verdict.FAILS, Sentence("The mean is below nominal.")


def _of_short(limits: Limits, count: int, below: int, lot_size: int) -> tuple[Verdict, str] | None:
    if not below:
        return None
    if limits.rule is Rule.US:
        if below > _MAV_ALLOWED.get(count, 0):
            return Verdict.FAILS, Sentence(
                "{below} lack more than the maximum allowable variation.", below=below
            )
        return Verdict.MARGINAL, Sentence(
            "{below} of {count} lack more than the maximum allowable one.", below=below, count=count
        )
    if below * ONE_IN > lot_size:
        return Verdict.FAILS, Sentence(
            "Below the limit that few may be below: {below} of {count} weighed. In the whole lot of"
            " {lot} at most {most} may be.",
            below=below,
            count=count,
            lot=lot_size,
            most=lot_size // ONE_IN,
        )
    if below * ONE_IN > count:
        return Verdict.MARGINAL, Sentence(
            "Below the limit that few may be below: {below} of {count} weighed. In the whole lot of"
            " {lot} at most {most} may be: weigh the others.",
            below=below,
            count=count,
            lot=lot_size,
            most=lot_size // ONE_IN,
        )
    return None


def _of_least(limits: Limits, count: int, below: int) -> tuple[Verdict, str] | None:
    if limits.rule is Rule.US or not below:
        return None
    return Verdict.FAILS, Sentence(
        "Below the limit that none may be below: {below} of {count} weighed. Take out what is.",
        below=below,
        count=count,
    )
