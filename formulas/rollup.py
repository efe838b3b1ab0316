"""The cost of all formulas at once, by sparse arrays: for asking "what if", never for a price.

This is the one place of the domain where numbers are binary and not decimal. Ten thousand formulas
of twelve lines are rolled up in a millisecond so, and exactly in seconds; the question is what a
change would do to all of them, and the answers are rounded when they leave. What a formula costs is
told by `rolling`, exactly, and the tests hold the two together to a billionth.

Cost of output = (percent of each line · its cost) ÷ (1 - process loss), level by level: a level
holds the formulas whose intermediates all lie below it (low-level coding of the bill-of-material
textbooks). NumPy and SciPy are loaded when first asked.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from math import isnan
from typing import Any
from uuid import UUID

Row = tuple[UUID, UUID | None, UUID | None, Any]


@dataclass(frozen=True, slots=True)
class Levels:
    """All formulas in order of level, with what each takes of materials and of the ones before.

    `of_materials` and `of_formulas` are sparse, one row a formula: grams in one gram that is left
    after its loss. `bounds` says where each level begins, and where the last one ends.
    """

    formulas: tuple[UUID, ...]
    materials: tuple[UUID, ...]
    of_materials: Any
    of_formulas: tuple[Any, ...]
    bounds: tuple[int, ...]

    def rolled(self, costs: Any) -> Any:
        """The cost of each formula by those of the materials, both per gram, unknown as NaN."""
        found = self.of_materials @ costs
        for level, taken in enumerate(self.of_formulas, 1):
            start, end = self.bounds[level], self.bounds[level + 1]
            found[start:end] += taken @ found[:start]
        return found

    def touched(self, materials: Iterable[UUID]) -> Any:
        """Which formulas contain any of these, at whatever depth: their places."""
        import numpy as np

        wanted = set(materials)
        marks = np.array([one in wanted for one in self.materials], dtype=np.float64)
        return np.flatnonzero(self.rolled(marks))


def level_order(rows: Sequence[Row], formulas: Iterable[UUID] = ()) -> Levels:
    """The arrays of all formulas, from lines of (formula, intermediate or None, material or None,
    grams of it in one gram left). `formulas` adds those that might have no line.

    Raises ValueError for a formula that contains itself, which PostgreSQL has refused.
    """
    import numpy as np
    from scipy import sparse

    parents = dict.fromkeys(row[0] for row in rows) | dict.fromkeys(formulas)
    place = {id: n for n, id in enumerate(parents)}
    bought = {id: n for n, id in enumerate(dict.fromkeys(row[2] for row in rows if row[2]))}
    inner = _entries(((place[row[0]], place[row[1]], row[3]) for row in rows if row[1]), np)
    outer = _entries(((place[row[0]], bought[row[2]], row[3]) for row in rows if row[2]), np)
    size = len(place)
    levels = _levels(inner, size, np)
    order = np.argsort(levels, kind="stable")
    rank = np.empty(size, dtype=np.intp)
    rank[order] = np.arange(size)
    deepest = int(levels.max()) if size else 0
    bounds = np.searchsorted(levels[order], np.arange(deepest + 2)).tolist()
    nested = sparse.csr_matrix((inner[2], (rank[inner[0]], rank[inner[1]])), shape=(size, size))
    ids = tuple(place)
    return Levels(
        formulas=tuple(ids[n] for n in order.tolist()),
        materials=tuple(bought),
        of_materials=sparse.csr_matrix(
            (outer[2], (rank[outer[0]], outer[1])), shape=(size, len(bought))
        ),
        of_formulas=tuple(nested[start:end, :start] for start, end in pairwise(bounds[1:])),
        bounds=tuple(bounds),
    )


def as_costs(materials: Sequence[UUID], costs: Mapping[UUID, Fraction | None]) -> Any:
    """Costs per gram in the order of `materials`; what nobody knows is NaN."""
    import numpy as np

    return np.array([_number(costs.get(id), np) for id in materials], dtype=np.float64)


def told(number: Any) -> Fraction | None:
    """A number as it leaves here: to twelve decimals, None for what is not known."""
    return None if isnan(number) else Fraction(Decimal(f"{number:.12f}"))


def _number(cost: Fraction | None, np: Any) -> Any:
    return np.nan if cost is None else np.float64(cost)


def _entries(entries: Iterable[tuple[int, int, Any]], np: Any) -> tuple[Any, Any, Any]:
    found = tuple(zip(*entries, strict=True)) or ((), (), ())
    return (
        np.array(found[0], dtype=np.intp),
        np.array(found[1], dtype=np.intp),
        np.array(found[2], dtype=np.float64),
    )


def _levels(inner: tuple[Any, Any, Any], size: int, np: Any) -> Any:
    """The level of each formula: one above the highest of its intermediates."""
    parents, children = inner[0], inner[1]
    levels = np.zeros(size, dtype=np.intp)
    for _ in range(size + 1):
        wanted = np.zeros(size, dtype=np.intp)
        np.maximum.at(wanted, parents, levels[children] + 1)
        if (wanted == levels).all():
            return levels
        levels = wanted
    raise ValueError("A formula contains itself.")
