"""How a material is used: mean, spread, rare use, and a forecast that tells how often it was right.

A series is what was used in each period, oldest first, zeros included. Pure: `usage_reading`
makes the series from the ledger.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

from ledger.errors import Invalid
from ledger.reordering import quantile

# Syntetos, Boylan and Croston (2005), On the categorization of demand patterns, Journal of the
# Operational Research Society 56; the two cuts from memory.
RARE_FROM: Final = Decimal("1.32")
UNEVEN_FROM: Final = Decimal("0.49")
SMOOTHING: Final = Decimal("0.1")
# A forecast is judged only from here on: before, there is too little to forecast from.
LEAST_PERIODS: Final = 8


class Pattern(StrEnum):
    """How a series is made up, by how often and how evenly something is used."""

    NONE = "none"
    SMOOTH = "smooth"
    ERRATIC = "erratic"
    INTERMITTENT = "intermittent"
    LUMPY = "lumpy"


@dataclass(frozen=True, slots=True)
class Usage:
    """What a series tells, in its own unit a period.

    `interval` is the mean number of periods from one use to the next, `uneven` the squared
    coefficient of variation of what was used when something was.
    """

    periods: int
    mean: Decimal
    spread: Decimal
    interval: Decimal | None
    uneven: Decimal | None
    pattern: Pattern


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is expected over some periods, from and to with that level, and the record so far.

    Of `tried` past forecasts of the same make, `held` saw the use that came lie inside.
    """

    expected: Decimal
    low: Decimal
    high: Decimal
    level: Decimal
    tried: int
    held: int


def describe(series: Sequence[Decimal]) -> Usage:
    """Mean, sample standard deviation (n - 1) and pattern of a series.

    Raises Invalid for a series that is empty or goes below zero.
    """
    _must_be_use(series)
    used = [one for one in series if one > 0]
    mean = sum(series, Decimal(0)) / len(series)
    if not used:
        return Usage(len(series), mean, Decimal(0), None, None, Pattern.NONE)
    interval = Decimal(len(series)) / len(used)
    size = sum(used, Decimal(0)) / len(used)
    uneven = _variance(used, size) / size**2
    rare, jumps = interval >= RARE_FROM, uneven >= UNEVEN_FROM
    pattern = {
        (False, False): Pattern.SMOOTH,
        (False, True): Pattern.ERRATIC,
        (True, False): Pattern.INTERMITTENT,
        (True, True): Pattern.LUMPY,
    }[rare, jumps]
    return Usage(len(series), mean, _spread(series, mean), interval, uneven, pattern)


def croston(
    series: Sequence[Decimal], smoothing: Decimal = SMOOTHING
) -> tuple[Decimal, Decimal, Decimal]:
    """Smoothed size, smoothed interval and their ratio: what is expected in a period.

    Croston (1972), Forecasting and stock control for intermittent demands; begun with the first
    use and the periods until then. Zeros for a series without any use. Raises Invalid.
    """
    _must_be_use(series)
    size, interval, since = Decimal(0), Decimal(0), 0
    for used in series:
        since += 1
        if used > 0:
            if interval:
                size += smoothing * (used - size)
                interval += smoothing * (since - interval)
            else:
                size, interval = used, Decimal(since)
            since = 0
    return size, interval, size / interval if interval else Decimal(0)


def croston_corrected(series: Sequence[Decimal], smoothing: Decimal = SMOOTHING) -> Decimal:
    """Croston's forecast less its known excess: times 1 - smoothing / 2.

    Syntetos and Boylan (2005), The accuracy of intermittent demand estimates. Raises Invalid.
    """
    return croston(series, smoothing)[2] * (1 - smoothing / 2)


def fading(
    series: Sequence[Decimal], smoothing: Decimal = SMOOTHING, of_chance: Decimal = SMOOTHING
) -> tuple[Decimal, Decimal, Decimal]:
    """Smoothed size, smoothed chance of use, and their product: what is expected in a period.

    Unlike Croston's it falls while nothing is used, so that what is no longer used fades out.
    Teunter, Syntetos and Babai (2011), Intermittent demand: linking forecasting to inventory
    obsolescence; begun at the first use with a chance of one. Raises Invalid.
    """
    _must_be_use(series)
    size, chance = Decimal(0), Decimal(0)
    for used in series:
        if used > 0:
            size = size + smoothing * (used - size) if size else used
            chance = chance + of_chance * (1 - chance) if chance else Decimal(1)
        else:
            chance *= 1 - of_chance
    return size, chance, size * chance


def forecast(series: Sequence[Decimal], *, ahead: int, level: Decimal) -> Forecast:
    """What the next `ahead` periods will use, with an interval and how often such ones held.

    Rare use is forecast by `fading`, the rest by the mean; the interval is that of a normal
    distribution, never below zero. The record is that of every past moment that had as many
    periods behind it as are needed and `ahead` more after it. Raises Invalid.
    """
    _must_be_use(series)
    if ahead < 1:
        raise Invalid("A forecast looks at least one period ahead.")
    z = quantile((1 + level) / 2)
    tried = held = 0
    for end in range(LEAST_PERIODS, len(series) - ahead + 1):
        _, low, high = _expect(series[:end], ahead, z)
        tried += 1
        held += low <= sum(series[end : end + ahead], Decimal(0)) <= high
    expected, low, high = _expect(series, ahead, z)
    return Forecast(expected, low, high, level, tried, held)


def _expect(series: Sequence[Decimal], ahead: int, z: Decimal) -> tuple[Decimal, Decimal, Decimal]:
    found = describe(series)
    rare = found.pattern in (Pattern.INTERMITTENT, Pattern.LUMPY)
    expected = ahead * (fading(series)[2] if rare else found.mean)
    reach = z * found.spread * Decimal(ahead).sqrt()
    return expected, max(Decimal(0), expected - reach), expected + reach


def _spread(values: Sequence[Decimal], mean: Decimal) -> Decimal:
    return _variance(values, mean).sqrt()


def _variance(values: Sequence[Decimal], mean: Decimal) -> Decimal:
    """Of a sample: over n - 1; none of a single value."""
    squares = sum(((one - mean) ** 2 for one in values), Decimal(0))
    return squares / max(1, len(values) - 1)


def _must_be_use(series: Sequence[Decimal]) -> None:
    if not series or min(series) < 0:
        raise Invalid("A series of use has at least one period, and none below zero.")
