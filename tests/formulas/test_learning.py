"""What past batches teach: median and quartiles as the textbooks define them."""

import statistics
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from formulas.learning import Learned, Spread, learned, quantile
from tests.factories import D

SHARES = st.lists(st.fractions(0, 100, max_denominator=1000), min_size=2, max_size=30)


def test_nothing_is_learned_of_nothing_and_a_little_of_one() -> None:
    assert learned([]) is None
    assert learned([Fraction(3, 10)]) == Learned(1, D("0.3"), Spread.RANGE, D("0.3"), D("0.3"))


def test_three_batches_have_a_range_and_four_have_quartiles() -> None:
    """Of 1, 2, 3, 4 by definition 7: 1.75, 2.5 and 3.25."""
    three = learned([Fraction(one) for one in (3, 1, 2)])
    assert three == Learned(3, D(2), Spread.RANGE, D(1), D(3))
    four = learned([Fraction(one) for one in (4, 1, 3, 2)])
    assert four == Learned(4, D("2.5"), Spread.INTERQUARTILE_RANGE, D("1.75"), D("3.25"))


@given(SHARES)
def test_the_quantiles_are_those_of_the_standard_library(shares: list[Fraction]) -> None:
    wanted = statistics.quantiles(shares, n=4, method="inclusive")
    assert [quantile(shares, Fraction(n, 4)) for n in (1, 2, 3)] == wanted
    assert quantile(shares, Fraction(0)) == min(shares)
    assert quantile(shares, Fraction(1)) == max(shares)
