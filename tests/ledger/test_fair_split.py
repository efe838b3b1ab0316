"""The fair split: never more than alone, no group worse off than by itself, cents exact."""

from collections.abc import Callable
from fractions import Fraction
from functools import partial
from itertools import combinations
from math import floor

from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Invalid
from ledger.fair_cents import in_cents, largest_excess
from ledger.fair_split import FairSplit, split_fairly
from ledger.nucleolus import nucleolus
from tests.refusing import assert_refused

Group = frozenset[int]


def bits(group: Group) -> int:
    return sum(1 << one for one in group)


@st.composite
def games(draw: st.DrawFn, least: int = 1, most: int = 5) -> tuple[int, dict[int, int]]:
    """Any costs at all, if only all together cost no more than each alone."""
    makers = draw(st.integers(least, most))
    costs = {group: draw(st.integers(0, 60)) for group in range(1, 1 << makers)}
    alone = sum(costs[1 << one] for one in range(makers))
    costs[(1 << makers) - 1] = min(costs[(1 << makers) - 1], alone)
    return makers, costs


@st.composite
def orders(draw: st.DrawFn, most: int = 6) -> tuple[int, Callable[[Group], int]]:
    """Goods with breaks and freight, as of one supplier: more members, less for each."""
    makers = draw(st.integers(2, most))
    wants = [draw(st.integers(0, 60)) for _ in range(makers)]
    prices = sorted((draw(st.integers(1, 900)) for _ in range(3)), reverse=True)
    freight, free_from = draw(st.integers(0, 4000)), draw(st.integers(1, 60_000))

    def cost(group: Group) -> int:
        wanted = sum(wants[one] for one in group)
        if not wanted:
            return 0
        goods = [
            max(wanted, least) * price for least, price in zip((0, 50, 120), prices, strict=True)
        ]
        return min(one + (0 if one >= free_from else freight) for one in goods)

    return makers, cost


def judge(found: FairSplit[int], cost: Callable[[Group], int]) -> None:
    """What holds of every split."""
    makers = list(found.shares)
    assert sum(found.shares.values()) == sum(found.exact.values()) == found.together
    for maker in makers:
        assert 0 <= found.shares[maker] <= found.alone[maker] == cost(frozenset({maker}))
        assert abs(found.shares[maker] - found.exact[maker]) < 1
    excesses = [
        sum(found.exact[one] for one in group) - cost(frozenset(group))
        for size in range(1, len(makers))
        for group in combinations(makers, size)
    ]
    assert found.least_excess == max(excesses, default=0)
    assert found.core_is_empty == (found.least_excess > 0)


@given(games())
def test_nobody_pays_more_than_alone_whatever_the_game(game: tuple[int, dict[int, int]]) -> None:
    makers, costs = game

    def cost(group: Group) -> int:
        return costs[bits(group)]

    judge(split_fairly(range(makers), cost), cost)


@given(orders())
def test_an_order_together(order: tuple[int, Callable[[Group], int]]) -> None:
    makers, cost = order
    found = split_fairly(range(makers), cost)
    judge(found, cost)
    assert found.heeds_all
    for one, other in combinations(range(makers), 2):
        alike = all(
            cost(frozenset({one, *rest})) == cost(frozenset({other, *rest}))
            for size in range(makers - 1)
            for rest in combinations(set(range(makers)) - {one, other}, size)
        )
        if alike:
            assert found.exact[one] == found.exact[other]
            assert abs(found.shares[one] - found.shares[other]) <= 1


def slack(makers: int, costs: dict[int, int], exact: list[Fraction]) -> int:
    """The least that any rounding to the cents next to them leaves a group above its cost."""
    down = [floor(one) for one in exact]
    loose = [one for one in range(makers) if exact[one] != down[one]]
    ups = int(sum(exact)) - sum(down)
    return min(
        max(0, largest_excess([one + (at in up) for at, one in enumerate(down)], costs))
        for up in combinations(loose, ups)
    )


@given(games(least=3))
def test_a_cent_breaks_a_group_s_limit_only_where_every_rounding_does(
    game: tuple[int, dict[int, int]],
) -> None:
    makers, costs = game
    found = split_fairly(range(makers), lambda group: costs[bits(group)])
    least = slack(makers, costs, list(found.exact.values()))
    assert max(0, found.largest_excess) == least
    assert found.is_in_core == (least == 0)


def test_the_largest_excess_is_of_groups_of_several_but_not_of_all() -> None:
    """The first pays 59 above its own cost and all 80 above theirs: neither is a group."""
    costs = {0b001: 1, 0b011: 100, 0b101: 130, 0b111: 100}
    assert largest_excess([60, 60, 60], costs) == 20
    assert largest_excess([60, 60, 60], {0b011: 125, 0b110: 130}) == -5
    assert largest_excess([5], {0b1: 3}) == 0


def test_the_spare_cent_goes_where_no_group_is_wronged() -> None:
    """By remainder alone it would go to the first, and the first two would pay 201 for 200."""
    exact = [Fraction(1004, 10), Fraction(1003, 10), Fraction(1003, 10)]
    assert in_cents(exact, {0b011: 250, 0b101: 250, 0b110: 250}) == [101, 100, 100]
    assert in_cents(exact, {0b011: 200, 0b101: 250, 0b110: 250}) == [100, 100, 101]
    assert in_cents(exact, {0b011: 250, 0b101: 200, 0b110: 250}) == [100, 101, 100]
    # Where every way wrongs somebody it is by as little as can be, for the largest remainder.
    assert in_cents(exact, {0b011: 200, 0b101: 200, 0b110: 200}) == [101, 100, 100]


def test_of_many_ways_to_round_one_is_reached_by_exchanges() -> None:
    """Sixteen shares end in a half; of the first eight makers no more than one may go up."""
    exact = [Fraction(2001, 2)] * 16
    costs = {(1 << 8) - 1: 8001}
    shares = in_cents(exact, costs)
    assert sum(shares) == 16 * 1000 + 8
    assert sum(shares[:8]) == 8001
    assert sorted(set(shares)) == [1000, 1001]


def test_who_adds_only_its_own_cost_pays_just_that() -> None:
    others = {0b001: 70, 0b010: 80, 0b011: 100}

    def cost(group: Group) -> int:
        return others.get(bits(group - {2}), 0) + (33 if 2 in group else 0)

    found = split_fairly([0, 1, 2], cost)
    assert found.shares == {0: 45, 1: 55, 2: 33}


def test_one_alone_pays_what_it_costs() -> None:
    found = split_fairly(["North Bench"], lambda group: 13_240)
    assert found.shares == found.alone == {"North Bench": 13_240}
    assert found.least_excess == found.largest_excess == 0
    assert not found.core_is_empty


def test_an_empty_core_is_said_with_the_least_excess() -> None:
    """Any two pay 100 together and all three 180: some two must pay 20 more than by themselves."""
    found = split_fairly(range(3), lambda group: {1: 100, 2: 100, 3: 180}[len(group)])
    assert found.core_is_empty
    assert not found.is_in_core
    assert found.least_excess == found.largest_excess == 20
    assert set(found.shares.values()) == {60}


def test_more_makers_than_all_groups_are_asked_of() -> None:
    """Twelve makers, of whom three alone would get the break: that group is found."""
    asked = set()
    wants = [40, 40, 40, *([5] * 9)]

    def cost(group: Group) -> int:
        asked.add(group)
        wanted = sum(wants[one] for one in group)
        return wanted * (400 if wanted >= 120 else 500) + 2_000

    found = split_fairly(range(12), cost)
    assert found.groups == len(asked) < found.all_groups == 4095
    assert not found.heeds_all
    assert found.is_in_core
    assert all(found.shares[one] <= found.alone[one] for one in range(12))
    assert sum(found.shares.values()) == found.together
    assert sum(found.shares[one] for one in range(3)) <= cost(frozenset({0, 1, 2}))
    assert split_fairly(range(12), cost, most_groups=30).groups == 30


def some_groups_of(alone: list[int], others: dict[int, int]) -> tuple[FairSplit[int], list[int]]:
    """Four makers, at most 14 of their 15 groups; the split, and the groups in the order asked.

    A group that is not among `others` costs what its makers do alone.
    """
    asked = []

    def cost(group: Group) -> int:
        asked.append(bits(group))
        return others.get(bits(group), sum(alone[one] for one in group))

    return split_fairly(range(4), cost, most_groups=14), asked


def test_of_some_groups_those_are_asked_that_are_worst_off() -> None:
    """Alone 100, 40, 60, 200, together 360: at first each saves 10.

    The first and the last save the smallest parts, a tenth and a twentieth. Together they pay 280
    and by themselves 279, so that what all save is shared anew. With s what either of them saves
    and t what either other does, s + t = 20, and t = 2 s - 21 is as good for the two as for one
    alone: s = 41/3, t = 19/3. Now the third and the last save the smallest parts, the second and
    the third the smallest amounts. The former pay 240 as by themselves, which is no more: done.
    """
    others = {0b1111: 360, 0b1001: 279, 0b1100: 240}
    found, asked = some_groups_of([100, 40, 60, 200], others)
    of_all = [0b1111, 0b0001, 0b0010, 0b0100, 0b1000, 0b1110, 0b1101, 0b1011, 0b0111]
    assert asked == [*of_all, 0b1001, 0b0011, 0b1100, 0b0110]
    assert [3 * found.exact[one] for one in range(4)] == [259, 101, 161, 559]
    assert (found.groups, found.heeds_all) == (13, False)


def test_where_as_many_groups_may_be_asked_as_there_are_all_of_them_are() -> None:
    assert split_fairly(range(4), lambda group: 10 * len(group), most_groups=15).heeds_all


def test_who_costs_nothing_saves_all_of_it() -> None:
    """The others save 10 each of 40, 60 and 200; by amount it is the first who saves least."""
    found, asked = some_groups_of([0, 40, 60, 200], {0b1111: 270})
    assert asked[9:] == [0b1100, 0b0011]
    assert list(found.exact.values()) == [0, 30, 50, 190]


def test_no_group_is_asked_twice() -> None:
    """Each saves 10: the first two save least by part and, as all save alike, by amount."""
    _, asked = some_groups_of([200, 100, 60, 40], {0b1111: 360})
    assert asked[9:] == [0b0011]


def test_what_cannot_be_split() -> None:
    once = "A cost is split among one maker or more, each named once."
    dearer = "Together this costs more than each alone; there is nothing to share."
    refused: list[tuple[list[int], Callable[[Group], int], str]] = [
        ([], lambda group: 1, once),
        ([1, 1], lambda group: 1, once),
        ([1, 2], lambda group: 1 if len(group) == 1 else 3, dearer),
        ([1, 2], lambda group: -1, "A cost game has no cost below zero."),
    ]
    for makers, cost, says in refused:
        assert_refused(partial(split_fairly, makers, cost), Invalid, "", says)


@given(st.lists(st.integers(0, 60), min_size=3, max_size=5), st.data())
def test_where_each_alone_is_heeded_all_save_as_much(alone: list[int], data: st.DataObject) -> None:
    """As with a group that is never worse off, by which the programs are asked."""
    whole = data.draw(st.integers(0, sum(alone)))
    costs = {1 << one: cost for one, cost in enumerate(alone)}
    costs[(1 << len(alone)) - 1] = whole
    found, other = (nucleolus(len(alone), one) for one in (costs, costs | {0b11: 1000}))
    assert found == other
