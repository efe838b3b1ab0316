"""What past batches teach: median and quartiles as the textbooks define them."""

import statistics
from fractions import Fraction

from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from formulas.access import batches_of, with_details
from formulas.composition import ToEffect
from formulas.learning import Learned, Spread, learned, quantile
from formulas.past_effects import learned_for
from ledger.access import acting_as
from tests.factories import D, Lines, Workshop

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


def test_the_next_batch_is_offered_what_the_last_ones_came_to(shop: Workshop) -> None:
    """30, 10 and 20 g beside 970, 990 and 980 g."""
    base, acid = shop.material("Base"), shop.material("Lactic Acid")
    lots = [shop.receive(one, "20 kg", "20.00") for one in (base, acid)]
    lines: Lines = [(base, "balance"), (acid, ToEffect(D(2), D(5)))]
    formula = shop.formula("Gel", lines)
    for place, grams in enumerate((30, 10, 20)):
        if place == 2:
            formula = shop.next_version(formula, lines)
        planned = shop.plan(formula, "1 kg")
        shop.weigh(planned, 0, lots[0], f"{1000 - grams} g")
        shop.weigh(planned, 1, lots[1], f"{grams} g")
        shop.finish(planned, "1 kg")
    other = shop.plan(shop.formula("Other gel", lines), "1 kg")
    shop.weigh(other, 1, lots[1], "40 g")
    shop.finish(other, "40 g")
    planned = shop.plan(formula, "1 kg")
    with acting_as(shop.actor):
        batch = with_details(batches_of(shop.actor)).get(id=planned.batch.id)
        with CaptureQueriesContext(connection) as queries:
            taught = learned_for(batch)
    assert taught == {acid.id: Learned(3, D(2), Spread.RANGE, D(1), D(3))}
    assert len(queries) == 1, "however many batches there are"


def test_a_batch_with_nothing_to_effect_asks_nothing(shop: Workshop) -> None:
    base = shop.material("Base")
    planned = shop.plan(shop.formula("Oil", [(base, "100")]), "1 kg")
    with acting_as(shop.actor):
        batch = with_details(batches_of(shop.actor)).get(id=planned.batch.id)
        with CaptureQueriesContext(connection) as queries:
            assert learned_for(batch) == {}
    assert len(queries) == 0
