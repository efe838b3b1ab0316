"""The choice among covers step by step: what it settles when, and what it tells."""

from decimal import Decimal as D

import pytest

from ledger.cover_choice import CoverChoice
from ledger.solver import WORTH, Relaxation, Relaxed
from tests.ledger.cover_cases import ENDLESS, Scripted, Settled, never
from tests.ledger.order_questions import agreed, asking, offer


@pytest.fixture
def relaxing(monkeypatch: pytest.MonkeyPatch) -> Scripted:
    return Scripted.instead_of_the_solver(monkeypatch)


# Three of the first, with a freight of 7, or one of the second with 3.
TWO = asking([10], [agreed(7), agreed(3)], offer(0, 4, (1, 5)), offer(1, 10, (1, 18)))
HALF = WORTH // 2


def told(*ordered: int, covered: int = 0) -> Relaxed:
    """Of TWO, with both covers: how far each supplier is ordered from; its cover is as much."""
    return Relaxed((*ordered, 0, 0, 0, 0, *ordered), (covered, 0, 0, 0, 0))


def of_two() -> CoverChoice:
    choice = CoverChoice(TWO)
    assert choice.add(0, {0: 3})
    assert choice.add(0, {1: 1})
    return choice


def branching(settled: Settled) -> Relaxed:
    """Not whole is the first supplier, and without it the second."""
    if not settled:
        return told(HALF, HALF // 2)
    return told(0, HALF - 1) if settled == {0: 0} else told(WORTH, WORTH)


def test_what_is_nearest_to_a_half_is_settled_and_the_lowest_is_looked_at_next(
    relaxing: Scripted,
) -> None:
    """15 at first; without the first supplier 18, with it 22; at last 21, of the second alone."""
    relaxing.answers, heard = branching, []
    choice = of_two()
    choice.search(lambda packs: heard.append(list(packs)), ENDLESS, D(0))
    assert relaxing.asked == [{}, {0: 0}, {0: 1}, {0: 0, 1: 0}, {0: 0, 1: 1}]
    assert choice.bound == 21
    # Of two suppliers: whether each is ordered from, and whether its freight is free.
    assert relaxing.columns == [0, 1, 2, 3]
    assert heard == [[3, 0], [0, 1], [0, 1], [0, 1], [0, 1]]
    assert len(relaxing.programs) == 1


@pytest.mark.parametrize(
    ("within", "cost", "looks", "bound"),
    [
        ("0", 21, 5, 21),
        ("0", 18, 3, 18),
        ("0.125", 24, 5, 21),
        ("0.25", 24, 3, 18),
        ("0.375", 24, 1, 15),
        ("0.24", 24, 5, 21),
    ],
)
def test_it_ends_with_a_plan_that_is_near_enough(
    relaxing: Scripted, within: str, cost: int, looks: int, bound: int
) -> None:
    relaxing.answers = branching
    choice = of_two()
    choice.search(lambda packs: cost, ENDLESS, D(within))
    assert (len(relaxing.asked), choice.bound) == (looks, bound)


@pytest.mark.parametrize(("until", "looks", "bound"), [(0, 0, 0), (10, 1, 15), (21, 3, 18)])
def test_it_ends_in_time(relaxing: Scripted, until: int, looks: int, bound: int) -> None:
    """Each look takes ten."""
    relaxing.answers = branching
    choice = of_two()
    choice.search(never, until, D(0))
    assert (len(relaxing.asked), choice.bound) == (looks, bound)


def test_what_has_no_answer_is_settled_at_the_bound_that_it_had(relaxing: Scripted) -> None:
    """22 with the first supplier; without it nothing is found among the covers, which says only
    that there may be others: at 15."""
    relaxing.answers = lambda settled: None if settled == {0: 0} else branching(settled)
    choice = of_two()
    choice.search(never, ENDLESS, D(0))
    assert (relaxing.asked, choice.bound) == ([{}, {0: 0}], 15)
    # Two that are settled: the lower counts, and nothing above it is looked at.
    relaxing.asked.clear()
    relaxing.answers = lambda settled: None if settled == {0: 0, 1: 0} else branching(settled)
    choice = of_two()
    choice.search(never, ENDLESS, D(0))
    assert (relaxing.asked[-1], choice.bound) == ({0: 0, 1: 0}, 18)


@pytest.mark.parametrize(
    ("part", "looks"),
    [(0, 1), (WORTH // 1000, 1), (WORTH // 1000 + 1, 5), (WORTH - WORTH // 1000, 1)],
)
def test_what_is_nearly_whole_needs_not_be_settled(
    relaxing: Scripted, part: int, looks: int
) -> None:
    relaxing.answers = lambda settled: branching(settled) if settled else told(part, WORTH)
    of_two().search(never, ENDLESS, D(0))
    assert len(relaxing.asked) == looks


def test_what_is_spent_beyond_the_covers_is_no_choice(relaxing: Scripted) -> None:
    relaxing.answers = lambda settled: Relaxed((0, WORTH, 0, 0, HALF, HALF, 0, WORTH), (0,) * 5)
    of_two().search(never, ENDLESS, D(0))
    assert relaxing.asked == [{}]


def test_of_what_is_settled_the_lowest_counts_whichever_comes_last(relaxing: Scripted) -> None:
    """Without the first supplier 18, with it 22, and both are whole."""
    relaxing.answers = lambda settled: told(0, WORTH) if settled else branching(settled)
    choice = of_two()
    choice.search(never, ENDLESS, D(0))
    assert (len(relaxing.asked), choice.bound) == (3, 18)


def test_where_all_is_settled_nothing_is_left_to_choose(relaxing: Scripted) -> None:
    """Free freight is worth nothing here, and spares all of it: 15, as at first."""
    terms = [agreed(7, free_from=100), agreed(3, free_from=100)]
    choice = CoverChoice(asking([10], terms, *TWO.choices))
    relaxing.answers = lambda settled: Relaxed((HALF,) * 6, (0,) * 9)
    choice.search(never, ENDLESS, D(0))
    assert (max(map(len, relaxing.asked)), choice.bound) == (4, 15)


def test_a_supplier_is_ordered_from_as_far_as_its_covers_are_taken(relaxing: Scripted) -> None:
    """In parts as in whole: all of the second, for 21, and no half of an order."""
    of_two().search(never, ENDLESS, D(0))
    relaxed = Relaxation(relaxing.programs[-1]).ask({})
    assert relaxed is not None
    assert relaxed.values == (0, WORTH, 0, 0, 0, 0, 0, WORTH)


def test_a_cover_of_one_material_helps_whatever_others_do(relaxing: Scripted) -> None:
    """Of the first two for 6 are new; of the second its only one is known already."""
    question = asking(
        [4, 1],
        [agreed()],
        offer(0, 1, (1, 5)),
        offer(0, 2, (1, 3)),
        offer(0, 1, (1, 2), material=1),
    )
    choice = CoverChoice(question)
    for material, packs in ((0, {0: 4}), (1, {2: 1})):
        choice.add(material, packs)
    relaxing.answers = lambda settled: Relaxed((0,) * 5, (20 * WORTH, 3 * WORTH, 0, 0, 0))
    choice.search(never, ENDLESS, D(0))
    assert len(relaxing.asked) == 2
    assert not choice.add(0, {1: 2})


def test_later_a_cover_that_helps_waits_for_what_is_settled_next(relaxing: Scripted) -> None:
    """Only the first supplier's cover is known. Without it the second's is worth 99."""
    worths = (99 * WORTH, 0, 0, 0)
    relaxing.answers = lambda settled: (
        Relaxed((0,) * 7, worths) if settled else Relaxed((HALF, *(0,) * 6), (0,) * 4)
    )
    choice = CoverChoice(TWO)
    choice.add(0, {0: 3})
    choice.search(never, ENDLESS, D(0))
    assert relaxing.asked == [{}, {0: 0}, {0: 1}]
    assert not choice.add(0, {1: 1})


def test_a_cover_that_helps_is_looked_at_again_at_first(relaxing: Scripted) -> None:
    """The second supplier's is known, and worth 20: the first's costs 15. Then nothing is new."""
    relaxing.answers = lambda settled: Relaxed((0, HALF, 0, 0, 0, 0, WORTH), (20 * WORTH, 0, 0, 0))
    choice = CoverChoice(TWO)
    choice.add(0, {1: 1})
    heard = []
    choice.search(lambda packs: heard.append(list(packs)), 25, D(0))
    assert relaxing.asked == [{}, {}, {1: 0}]
    assert heard == [[0, 1]] * 3
    assert not choice.add(0, {0: 3})
    # What costs as much as its material is worth helps nothing.
    relaxing.answers = lambda settled: Relaxed((0, WORTH, 0, 0, 0, 0, WORTH), (15 * WORTH, 0, 0, 0))
    choice = CoverChoice(TWO)
    choice.add(0, {1: 1})
    choice.search(never, ENDLESS, D(0))
    assert choice.add(0, {0: 3})


def test_a_program_is_made_anew_where_many_covers_are_new(relaxing: Scripted) -> None:
    choice = of_two()
    for more in range(1, 12):
        choice.search(never, ENDLESS, D(0))
        assert len(relaxing.programs) == 1
        assert choice.add(0, {0: 3 + more})
    choice.search(never, ENDLESS, D(0))
    assert [len(program.costs) for program in relaxing.programs] == [8, 19]


def test_a_cover_holds_its_need_and_is_used_in_time() -> None:
    first, second = offer(0, 4, (1, 5), usable=15), offer(1, 10, (1, 18), usable=14)
    choice = CoverChoice(asking([10, 10], [agreed()] * 2, first, second, offer(0, 1, (1, 5))))
    assert not choice.add(0, {0: 2})
    assert choice.add(0, {0: 3})
    assert not choice.add(0, {0: 3})
    assert choice.add(1, {0: 3})
    assert not choice.add(0, {0: 4})
    assert choice.add(0, {1: 1, 0: 1})
    assert not choice.add(0, {0: 1, 1: 1})
    assert not choice.add(0, {1: 1, 2: 5})
    assert choice.add(0, {1: 1, 2: 4})
    assert choice.add(0, {2: 10})


def test_of_each_material_the_cover_that_is_taken_most_is_told(relaxing: Scripted) -> None:
    """Of as much of two the later."""
    question = asking(
        [4, 2],
        [agreed()],
        offer(0, 1, (1, 5)),
        offer(0, 2, (1, 7)),
        offer(0, 1, (1, 2), material=1),
    )
    choice, heard = CoverChoice(question), []
    for material, packs in ((0, {0: 4}), (1, {2: 2}), (0, {0: 2, 1: 1}), (0, {1: 2}), (1, {2: 3})):
        choice.add(material, packs)
    taken = iter([(3, 5, 6, 2, 4), (3, 4, 1, 3, 5), (0, 0, 0, 0, 0)])
    relaxing.answers = lambda settled: Relaxed((0, 0, 0, *next(taken)), (0,) * 9)
    for _ in range(3):
        choice.search(lambda packs: heard.append(list(packs)), ENDLESS, D(0))
    assert heard == [[2, 1, 2], [0, 2, 3], [0, 2, 3]]


def test_much_is_measured_coarsely_and_bounds_all_the_same(relaxing: Scripted) -> None:
    """1000 in packs of 3 and of 7, at 2 and 6: in threes, 333 packs of the first hold 333; from 400
    on, in twos: 200 are held by a hundred. Below that each is counted."""
    relaxing.answers = lambda settled: Relaxed((0,) * 4, (0,) * 9)
    for need, bound in ((1000, 666), (400, 200), (399, 266)):
        choice = CoverChoice(asking([need], [agreed()], offer(0, 3, (1, 2)), offer(0, 7, (1, 6))))
        choice.add(0, {0: 400})
        choice.search(never, ENDLESS, D(0))
        assert choice.bound == bound
