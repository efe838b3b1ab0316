"""Linear programs in fractions: the least goal, and which limits make it so."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Invalid
from ledger.exact_programs import Row, minimise

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
    with pytest.raises(Invalid, match="satisfies all"):
        minimise([1, 1], rows, [0, 1])


def test_a_start_that_bounds_nothing_is_refused() -> None:
    with pytest.raises(Invalid, match="bound"):
        minimise([1], [Row((1,), 1)], [0])
    with pytest.raises(Invalid, match="independent"):
        minimise([1, 1], [Row((1, 1), 1, 0), Row((2, 2), 1, 0)], [0, 1])


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
