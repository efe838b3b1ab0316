"""Linear programs in fractions: nothing is rounded, so that what is found is proven as it stands.

The dual simplex method with its inverse kept as columns (Lemke (1954), from memory). It is meant
for a few dozen unknowns and some hundred rows, where being exact matters more than being quick.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from ledger.errors import Invalid

Number = int | Fraction


@dataclass(frozen=True, slots=True)
class Row:
    """`least` ≤ weights · unknowns ≤ `most`; without `least` there is no lower limit."""

    weights: tuple[int, ...]
    most: Number
    least: Number | None = None

    @property
    def is_fixed(self) -> bool:
        return self.least == self.most

    def limit(self, above: bool) -> Number:
        """The upper limit or the lower one. Raises Invalid where there is none."""
        limit = self.most if above else self.least
        if limit is None:
            raise Invalid("The rows to start from do not bound the goal.")
        return limit


@dataclass(frozen=True, slots=True)
class Optimum:
    """The unknowns where the goal is least, and what each limiting row weighs in that.

    `weights` has the rows that are at a limit in *every* solution as good as this one: those with
    a weight other than zero (complementary slackness).
    """

    unknowns: list[Fraction]
    weights: dict[int, Fraction]


def minimise(goal: Sequence[int], rows: Sequence[Row], start: Sequence[int]) -> Optimum:
    """The least `goal` · unknowns under all rows.

    `start` names as many independent rows as there are unknowns, every fixed row among them, whose
    limits alone would bound the goal from below. The row furthest beyond its limit comes in next;
    after a step that gained nothing the first such row does, so that no choice of rows comes twice
    (Bland (1977), from memory). Raises Invalid where `start` is not such a choice, and where no
    unknowns satisfy all rows.
    """
    basis = _Basis(goal, rows, start)
    choose = basis.furthest_beyond
    while found := choose():
        choose = basis.furthest_beyond if basis.take_in(*found) else basis.first_beyond
    return Optimum(basis.point(), basis.weights())


class _Basis:
    """The rows that are at a limit now; `columns` are those of the inverse of their weights."""

    def __init__(self, goal: Sequence[int], rows: Sequence[Row], start: Sequence[int]) -> None:
        self.goal, self.rows, self.members = goal, rows, list(start)
        self.columns = _inverse_columns([rows[place].weights for place in start])
        # The goal weighs each row at its upper limit above zero, at its lower one below.
        self.at_most = [weight >= 0 for weight in self._weights()]
        self.limits = [rows[one].limit(at) for one, at in zip(start, self.at_most, strict=True)]

    def _weights(self) -> list[Fraction]:
        return [-_dot(self.goal, column) for column in self.columns]

    def weights(self) -> dict[int, Fraction]:
        found = zip(self.members, self._weights(), strict=True)
        return {place: weight for place, weight in found if weight}

    def point(self) -> list[Fraction]:
        return [
            _dot(self.limits, [column[unknown] for column in self.columns])
            for unknown in range(len(self.goal))
        ]

    def _beyond(self) -> Iterator[tuple[Number, int, bool]]:
        """By how much, which row, and whether above its most or below its least."""
        point = self.point()
        # Whole numbers over one denominator: the sums below are most of the work.
        scale = lcm(*(one.denominator for one in point))
        whole = [one.numerator * (scale // one.denominator) for one in point]
        for place, row in enumerate(self.rows):
            value = sum(weight * one for weight, one in zip(row.weights, whole, strict=True))
            if value > row.most * scale:
                yield value - row.most * scale, place, True
            elif row.least is not None and value < row.least * scale:
                yield row.least * scale - value, place, False

    def first_beyond(self) -> tuple[int, bool] | None:
        return next(((place, above) for _, place, above in self._beyond()), None)

    def furthest_beyond(self) -> tuple[int, bool] | None:
        found = max(self._beyond(), default=None)
        return None if found is None else found[1:]

    def take_in(self, place: int, above: bool) -> bool:
        """The row comes in at its limit, and the first whose weight would turn goes out.

        Returns whether the goal's bound rose.
        """
        entering = self.rows[place]
        parts = [_dot(entering.weights, column) for column in self.columns]
        weights = self._weights()
        going = [
            (abs(weight / part), self.members[at], at)
            for at, (weight, part) in enumerate(zip(weights, parts, strict=True))
            if part
            and not self.rows[self.members[at]].is_fixed
            and (part > 0) == (above == self.at_most[at])
        ]
        if not going:
            raise Invalid("No solution satisfies all rows.")
        step, _, out = min(going)
        coming = [one / parts[out] for one in self.columns[out]]
        for at, part in enumerate(parts):
            if part and at != out:
                column = self.columns[at]
                self.columns[at] = [a - part * b for a, b in zip(column, coming, strict=True)]
        self.columns[out], self.members[out] = coming, place
        self.at_most[out], self.limits[out] = above, entering.limit(above)
        return step > 0


def _dot(weights: Sequence[Number], column: Sequence[Fraction]) -> Fraction:
    return sum((a * b for a, b in zip(weights, column, strict=True) if a), Fraction(0))


def _inverse_columns(matrix: Sequence[Sequence[int]]) -> list[list[Fraction]]:
    """The columns of the inverse, by elimination. Raises Invalid where there is none."""
    size = len(matrix)
    work = [
        [Fraction(one) for one in row] + [Fraction(int(at == place)) for at in range(size)]
        for place, row in enumerate(matrix)
    ]
    for at in range(size):
        pivot = next((row for row in range(at, size) if work[row][at]), None)
        if pivot is None:
            raise Invalid("The rows to start from are not independent.")
        work[at], work[pivot] = work[pivot], work[at]
        head = work[at][at]
        work[at] = [one / head for one in work[at]]
        for row in range(size):
            if row != at and (factor := work[row][at]):
                work[row] = [a - factor * b for a, b in zip(work[row], work[at], strict=True)]
    return [[work[row][size + column] for row in range(size)] for column in range(size)]
