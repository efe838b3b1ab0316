"""Linear programs in fractions: the least goal, and which limits make it so."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import combinations, product

import pytest
from hypothesis import assume, given
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


@pytest.mark.parametrize(
    ("rows", "furthest"),
    [
        ([Row((1, 0), Fraction(1, 4)), Row((0, 1), 0)], (3, True)),
        ([Row((1, 0), Fraction(1, 4)), Row((1, 1), 9, 1)], (2, True)),
        ([Row((1, 0), Fraction(1, 4)), Row((1, 1), 9, 2)], (3, False)),
        ([Row((0, 1), 0), Row((-1, -1), -1)], (2, True)),
        ([Row((0, 1), 0), Row((-1, -1), -2)], (3, True)),
        ([Row((0, 3), 1, 1), Row((2, 0), 1, 1), Row((6, 0), 4, 2)], None),
    ],
)
def test_which_row_is_the_furthest_beyond(
    rows: list[Row], furthest: tuple[int, bool] | None
) -> None:
    """At (1/2, 1/3): x is 1/4 above a quarter, y 1/3 above nothing; their sum 1/6 below 1."""
    basis = _Basis([1, 1], [Row((2, 0), 9, 1), Row((0, 3), 9, 1), *rows], [0, 1])
    assert basis.point() == [Fraction(1, 2), Fraction(1, 3)]
    assert basis.furthest_beyond() == furthest


def in_dual_form(table: Sequence[Sequence[int]], gains: Sequence[int], unit: int) -> list[Row]:
    """The dual of `gains` · x as much as can be, `table` · x ≤ (0, 0, 1), where x ≥ 0.

    A step of the simplex method there, from the largest gain and the lowest number among equals, is
    a step here. `unit` is what the fractions of the book were multiplied by, to make them whole.
    """
    signs = [tuple(-unit * (one == at) for one in range(3)) for at in range(3)]
    columns = [tuple(-one for one in column) for column in zip(*table, strict=True)]
    return [
        *(Row(column, -gain) for column, gain in zip(columns, gains, strict=True)),
        *(Row(sign, 0) for sign in signs),
    ]


@pytest.mark.parametrize(
    ("table", "gains", "unit", "best", "weights"),
    [
        # Chvátal, Linear Programming (1983), ch. 3: 1 at x = (1, 0, 1, 0). From memory.
        (
            [(1, -11, -5, 18), (1, -3, -1, 2), (2, 0, 0, 0)],
            (20, -114, -18, -48),
            2,
            Fraction(1),
            {0: 1, 2: 1},
        ),
        # Beale (1955), Cycling in the dual simplex algorithm: 5/4 at x = (1, 0, 1, 0). From memory.
        (
            [(1, -32, -4, 36), (2, -48, -2, 12), (0, 0, 4, 0)],
            (3, -80, 2, -24),
            4,
            Fraction(5, 4),
            {0: 1, 2: 1},
        ),
    ],
)
def test_programs_that_go_round_in_circles(
    table: list[tuple[int, ...]],
    gains: tuple[int, ...],
    unit: int,
    best: Fraction,
    weights: dict[int, int],
) -> None:
    """By the furthest row alone the sixth step leads back to the start, and none has gained."""
    rows = in_dual_form(table, gains, unit)
    basis = _Basis([0, 0, 1], rows, [4, 5, 6])
    went = []
    for _ in range(6):
        found = basis.furthest_beyond()
        assert found
        assert not basis.take_in(*found)
        went.append(sorted(basis.members))
    assert went == [[0, 5, 6], [0, 1, 6], [1, 2, 6], [2, 3, 6], [3, 4, 6], [4, 5, 6]]
    optimum = minimise([0, 0, 1], rows, [4, 5, 6])
    assert optimum.unknowns[2] == best
    own = {row: weight * unit for row, weight in optimum.weights.items() if row < 4}
    assert own == weights


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


def area(one: Row, other: Row) -> int:
    """Zero where they are parallel."""
    (a, b), (c, d) = one.weights, other.weights
    return a * d - b * c


def corners(rows: list[Row]) -> list[list[Fraction]]:
    """Of all crossings of two limits (by Cramer's rule) those that satisfy all rows."""
    found = []
    for one, other in combinations(rows, 2):
        (a, b), (c, d) = one.weights, other.weights
        for here, there in product([one.most, one.least], [other.most, other.least]):
            if here is not None and there is not None and (below := area(one, other)):
                tops = here * d - there * b, there * a - here * c
                found.append([Fraction(top) / below for top in tops])
    return [
        point
        for point in found
        if all(
            (row.least is None or at >= row.least) and at <= row.most
            for row in rows
            for at in [sum(a * b for a, b in zip(row.weights, point, strict=True))]
        )
    ]


@given(
    goal=st.tuples(SMALL, SMALL),
    strips=st.lists(st.tuples(SMALL, SMALL, SMALL, st.none() | st.integers(0, 9)), max_size=6),
    start=st.integers(0, 50),
)
def test_it_is_the_best_of_all_corners(
    goal: tuple[int, ...], strips: list[tuple[int, int, int, int | None]], start: int
) -> None:
    """From wherever it starts: rows with and without a lower limit, and some that are fixed."""
    rows = [Row((1, 0), 7, -7), Row((0, 1), 7, -7)]
    rows += [
        Row((a, b), most, None if width is None else most - width) for a, b, most, width in strips
    ]
    fixed = {at for at, row in enumerate(rows) if row.is_fixed}
    two_sided = [at for at, row in enumerate(rows) if row.least is not None]
    starts = [
        pair
        for pair in combinations(two_sided, 2)
        if fixed <= {*pair} and area(*(rows[at] for at in pair))
    ]
    assume(starts)
    begin = starts[start % len(starts)]
    found = corners(rows)
    if not found:
        with pytest.raises(Invalid, match=r"^No solution satisfies all rows\.$"):
            minimise(goal, rows, begin)
        return
    told = minimise(goal, rows, begin).unknowns
    assert told in found
    assert value(goal, told) == min(value(goal, corner) for corner in found)


def value(goal: Sequence[int], point: Sequence[Fraction]) -> Fraction:
    return sum((a * b for a, b in zip(goal, point, strict=True)), Fraction(0))


def test_nothing_is_rounded_however_large() -> None:
    """Beyond what a floating-point number tells apart: x + y is just at its least."""
    large = 10**18 + 9
    rows = [
        Row((3, 0), 9, 1),
        Row((0, large), 9, 1),
        Row((1, 1), 9, Fraction(1, 3) + Fraction(1, large)),
        Row((1, 1), Fraction(1, 3) + Fraction(1, large)),
    ]
    found = minimise([1, 1], rows, [0, 1])
    assert found.unknowns == [Fraction(1, 3), Fraction(1, large)]
    assert found.weights == {0: Fraction(-1, 3), 1: Fraction(-1, large)}
