"""What stands in place of the solver of a choice among covers, and of whoever hears of it."""

from collections.abc import Callable, Mapping, Sequence
from types import SimpleNamespace
from typing import Self

import pytest

from ledger import cover_choice
from ledger.solver import Program, Relaxed

ENDLESS = 1 << 80
Settled = Mapping[int, int]


class Scripted:
    """In place of the solver: what it answers by what is settled, or that there is nothing."""

    def __init__(self) -> None:
        self.programs: list[Program] = []
        self.asked: list[Settled] = []
        self.columns: list[int] = []
        self.answers: Callable[[Settled], Relaxed | None] = lambda settled: None
        self.now = 0

    @classmethod
    def instead_of_the_solver(cls, monkeypatch: pytest.MonkeyPatch) -> Self:
        """Each answer takes ten of the clock."""
        found = cls()
        monkeypatch.setattr(cover_choice, "Relaxation", found)
        monkeypatch.setattr(cover_choice, "time", SimpleNamespace(monotonic_ns=lambda: found.now))
        return found

    def __call__(self, program: Program) -> "Scripted":
        self.programs.append(program)
        return self

    def ask(self, bounds: Mapping[int, tuple[int, int]]) -> Relaxed | None:
        self.asked.append({c: low for c, (low, high) in bounds.items() if low == high})
        assert set(bounds.values()) <= {(0, 0), (1, 1), (0, 1)}
        self.columns = list(bounds)
        self.now += 10
        return self.answers(self.asked[-1])


def never(packs: Sequence[int]) -> None:
    """Nothing that is told breaks no rule."""
