"""The fair split against published games; each row carries its source."""

import json
from collections.abc import Callable
from fractions import Fraction

import pytest

from ledger.fair_split import FairSplit, split_fairly
from ledger.nucleolus import nucleolus
from tests.published.rows import Row, published_rows

Group = frozenset[int]
# Games in whole dollars, thirds of them included, are whole in this many parts of a dollar.
PARTS = 600


def split(costs: Callable[[Group], int], makers: int) -> FairSplit[int]:
    return split_fairly(range(makers), lambda group: PARTS * costs(group))


def airport(costs: list[int]) -> FairSplit[int]:
    return split(lambda group: max(costs[one] for one in group), len(costs))


def figures(row: Row) -> list[Fraction]:
    """What is published, with thirds that were written out as decimals made thirds again."""
    return [Fraction(one).limit_denominator(1000) for one in json.loads(row.expected)]


def landings(row: Row) -> tuple[list[int], list[Fraction]]:
    """What each would cost alone and is charged; of a class that lands often, each landing."""
    costs = [int(one) for one in row.inputs["costs" if "costs" in row.inputs else "class_costs"]]
    often = [int(one) for one in row.inputs.get("landings", [1] * len(costs))]
    every = [place for place, many in enumerate(often) for _ in range(many)]
    return [costs[place] for place in every], [PARTS * figures(row)[place] for place in every]


SHAPLEY_S = ("airport game: Shapley", "airport game with several landings")


@pytest.mark.parametrize("row", published_rows("fair_split.csv", *SHAPLEY_S))
def test_no_published_split_of_an_airport_treats_its_worst_off_group_better(row: Row) -> None:
    """The published splits are Shapley's, which lie in the core of an airport game.

    Ours are others, being the nucleolus: Shapley's value shares by what each adds in the mean of
    all orders of coming, and outside such games it may ask more of a group than that would pay by
    itself (`test_shapley_s_value_may_leave_a_group_worse_off`). The largest excess of theirs is an
    upper bound of the least one, and their whole and their makers of no need and of equal needs
    must be ours.
    """
    costs, published = landings(row)
    found = airport(costs)
    assert sum(found.shares.values()) == found.together == sum(published) == PARTS * max(costs)
    groups = [
        [one for one in range(len(costs)) if group >> one & 1]
        for group in range(1, (1 << len(costs)) - 1)
    ]
    excesses = [
        sum(published[one] for one in group) - PARTS * max(costs[one] for one in group)
        for group in groups
    ]
    assert found.least_excess <= max(excesses) <= 0
    assert found.is_in_core
    assert not found.core_is_empty
    for one, cost in enumerate(costs):
        if cost == 0 or costs.count(cost) == len(costs):
            assert found.exact[one] == published[one]


@pytest.mark.parametrize("row", published_rows("fair_split.csv", "Shapley value"))
def test_shapley_s_value_may_leave_a_group_worse_off(row: Row) -> None:
    """One left glove and two right ones: by Shapley's value the first and either of the others
    have 5/6 of the 1 that the two have by themselves. Ours leaves no group worse off."""
    saved = row.inputs["v"]
    published = figures(row)
    assert sum(published) == saved["123"]

    def short(values: list[Fraction]) -> Fraction:
        """By how much the worst-off group has less than by itself."""
        groups = [name for name in saved if name and name != "123"]
        return max(
            Fraction(int(saved[name])) - sum(values[int(one) - 1] for one in name)
            for name in groups
        )

    def costs(group: Group) -> int:
        return len(group) - int(saved["".join(str(one + 1) for one in sorted(group))])

    found = split(costs, 3)
    ours = [1 - one / PARTS for one in found.exact.values()]
    assert short(published) == Fraction(1, 6)
    assert short(ours) <= 0
    assert found.is_in_core


@pytest.mark.parametrize("row", published_rows("fair_split.csv", "airport game: nucleolus"))
def test_the_nucleolus_of_an_airport(row: Row) -> None:
    found = airport([int(one) for one in row.inputs["costs"]])
    assert list(found.exact.values()) == [PARTS * one for one in figures(row)]
    assert list(found.shares.values()) == list(found.exact.values())


@pytest.mark.parametrize("row", published_rows("fair_split.csv", "bankruptcy"))
def test_what_the_talmud_awards(row: Row) -> None:
    """A claimant's loss is its cost; a group loses its claims less what others leave of the estate.

    The nucleolus moves with claims that are added to it, so losses give the awards.
    """
    estate, claims = int(row.inputs["estate"]), [int(one) for one in row.inputs["claims"]]

    def losses(group: Group) -> int:
        of_others = sum(claims) - sum(claims[one] for one in group)
        return sum(claims[one] for one in group) - max(0, estate - of_others)

    found = split(losses, len(claims))
    awards = [PARTS * claim - found.exact[one] for one, claim in enumerate(claims)]
    assert awards == [PARTS * one for one in figures(row)]


@pytest.mark.parametrize("row", published_rows("fair_split.csv", "savings game"))
def test_games_of_savings(row: Row) -> None:
    """Each would pay one alone, and a group that much less than it saves."""
    saved = row.inputs["v"]

    def costs(group: Group) -> int:
        return len(group) - int(saved["".join(str(one + 1) for one in sorted(group))])

    found = split(costs, 3)
    assert [PARTS - one for one in found.exact.values()] == [PARTS * one for one in figures(row)]
    assert found.core_is_empty == row.inputs["core_is_empty"]
    if found.core_is_empty:
        assert found.least_excess == found.largest_excess == PARTS // 3


def test_littlechild_s_formula() -> None:
    """The makers of the least needs pay alike: the least, over j, of the j-th cost over j + 1."""
    costs = [3, 7, 7, 40, 90]
    groups = {
        group: max(cost for one, cost in enumerate(costs) if group >> one & 1)
        for group in range(1, 1 << len(costs))
    }
    shares, paid, start = [], Fraction(0), 0
    while start < len(costs):
        ends = range(start, len(costs))
        options = {
            end: (costs[end] - paid) / Fraction(end - start + (2 if end < len(costs) - 1 else 1))
            for end in ends
        }
        end = min(reversed(ends), key=options.__getitem__)
        shares += [options[end]] * (end - start + 1)
        paid = sum(shares, Fraction(0))
        start = end + 1
    assert nucleolus(len(costs), groups).shares == shares
