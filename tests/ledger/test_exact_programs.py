"""Linear programs in fractions: the least goal, and which limits make it so."""

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Invalid
from ledger.exact_programs import Row, _Basis, minimise
from tests.refusing import assert_refused

SMALL = st.integers(-9, 9)


def test_a_program_with_a_fraction_for_its_answer() -> None:
    """Least x + y with 3x + y >= 1 and x + 3y >= 1, which is a half at a quarter each."""
    rows = [Row((1, 0), 5, 0), Row((0, 1), 5, 0), Row((-3, -1), -1), Row((-1, -3), -1)]
    found = minimise([1, 1], rows, [0, 1])
    assert found.unknowns == [Fraction(1, 4), Fraction(1, 4)]
    assert found.weights == {2: Fraction(1, 4), 3: Fraction(1, 4)}


def test_what_is_fixed_stays_so() -> None:
    rows = [Row((1, 1), 3, 3), Row((1, 0), 2, 0), Row((0, 1), 2, 0)]
    assert minimise([1, 0], rows, [0, 1]).unknowns == [1, 2]
    assert minimise([0, 1], rows, [0, 1]).unknowns == [2, 1]


def test_where_nothing_satisfies_all_rows() -> None:
    rows = [Row((1, 0), 1, 0), Row((0, 1), 1, 0), Row((-1, -1), -3)]
    assert_refused(
        lambda: minimise([1, 1], rows, [0, 1]), Invalid, "", "No solution satisfies all rows."
    )


def test_a_start_that_bounds_nothing_is_refused() -> None:
    assert_refused(
        lambda: minimise([1], [Row((1,), 1)], [0]),
        Invalid,
        "",
        "The rows to start from do not bound the goal.",
    )
    assert_refused(
        lambda: minimise([1, 1], [Row((1, 1), 1, 0), Row((2, 2), 1, 0)], [0, 1]),
        Invalid,
        "",
        "The rows to start from are not independent.",
    )


def test_rows_of_any_size_at_their_least() -> None:
    """1 <= x <= 5 and 4 <= x + 3y <= 12: x + y is least at (1, 1), where (4 + 2x) / 3 is."""
    found = minimise([1, 1], [Row((2, 0), 10, 2), Row((1, 3), 12, 4)], [0, 1])
    assert found.unknowns == [1, 1]
    assert found.weights == {0: Fraction(-1, 3), 1: Fraction(-1, 3)}


def test_a_least_that_is_not_reached_comes_in() -> None:
    """2x >= 1 is a half, and 4x >= 3 asks for three quarters."""
    found = minimise([1], [Row((2,), 9, 1), Row((4,), 20, 3)], [0])
    assert (found.unknowns, found.weights) == ([Fraction(3, 4)], {1: Fraction(-1, 4)})


def test_without_a_least_the_goal_must_want_more_or_nothing() -> None:
    found = minimise([-1], [Row((2,), 6)], [0])
    assert found.unknowns == [3]
    assert found.weights == {0: Fraction(1, 2)}
    idle = minimise([0], [Row((1,), 5)], [0])
    assert idle.unknowns == [5]
    assert not idle.weights


def test_which_row_comes_in_and_which_goes_out() -> None:
    """Least x + 2y from the corner at zero, where four rows are beyond a limit: by a half, by 5/2,
    by 1 and by 5/3."""
    rows = [
        Row((1, 0), 10, 0),
        Row((0, 1), 10, 0),
        Row((-2, 0), Fraction(-1, 2)),
        Row((1, 1), 20, Fraction(5, 2)),
        Row((-1, -3), -1),
        Row((0, 1), 9, Fraction(5, 3)),
    ]
    basis = _Basis([1, 2], rows, [0, 1])
    assert basis.point() == [0, 0]
    assert basis.weights() == {0: -1, 1: -2}
    assert basis.first_beyond() == (2, True)
    assert basis.furthest_beyond() == (3, False)
    assert basis.take_in(3, False)
    # The weight of x was the nearer to its turning, so y stays at zero.
    assert (basis.members, basis.at_most) == ([3, 1], [False, False])
    assert basis.point() == [Fraction(5, 2), 0]
    assert basis.weights() == {3: -1, 1: -1}
    assert basis.first_beyond() == basis.furthest_beyond() == (5, False)
    assert basis.take_in(5, False)
    assert basis.members == [3, 5]
    assert basis.point() == [Fraction(5, 6), Fraction(5, 3)]
    assert basis.first_beyond() is basis.furthest_beyond() is None
    assert minimise([1, 2], rows, [0, 1]).unknowns == basis.point()


def test_of_two_rows_that_turn_together_the_first_goes_and_nothing_is_gained() -> None:
    rows = [Row((1, 0), 4, 0), Row((0, 1), 4, 0), Row((-1, -1), -1), Row((2, 2), 6, 2)]
    basis = _Basis([0, 0], rows, [1, 0])
    assert basis.at_most == [True, True], "what weighs nothing is taken at its most"
    assert basis.furthest_beyond() == (3, True)
    assert not basis.take_in(3, True)
    assert (basis.members, basis.at_most) == ([1, 3], [True, True])
    assert basis.point() == [-1, 4]
    fixed = _Basis([1, 1], [Row((1, 0), 0, 0), *rows[1:]], [0, 1])
    assert fixed.take_in(2, True)
    assert fixed.members == [0, 2], "what is fixed stays"


@given(
    goal=st.tuples(SMALL, SMALL, SMALL),
    limits=st.lists(st.tuples(SMALL, SMALL, SMALL, st.integers(0, 20)), max_size=12),
)
def test_the_weights_prove_the_answer(
    goal: tuple[int, ...], limits: list[tuple[int, int, int, int]]
) -> None:
    """Duality: what satisfies all rows cannot be below what weights of the right sign add up to."""
    box = [Row(tuple(int(one == at) for one in range(3)), 10, 0) for at in range(3)]
    rows = [*box, *(Row((a, b, c), most) for a, b, c, most in limits)]
    found = minimise(goal, rows, [0, 1, 2])
    value = sum(a * b for a, b in zip(goal, found.unknowns, strict=True))
    told = Fraction(0)
    for at, row in enumerate(rows):
        reached = sum(a * b for a, b in zip(row.weights, found.unknowns, strict=True))
        assert reached <= row.most
        assert row.least is None or reached >= row.least
        weight = found.weights.get(at, Fraction(0))
        assert weight >= 0 or row.least is not None
        told -= weight * (row.most if weight >= 0 or row.least is None else row.least)
    assert told == value
    for unknown in range(3):
        pulled = sum(weight * rows[at].weights[unknown] for at, weight in found.weights.items())
        assert goal[unknown] + pulled == 0
