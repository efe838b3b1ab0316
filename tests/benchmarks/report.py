"""What was measured, and the table that is printed."""

import statistics
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

Key = TypeVar("Key")


@dataclass(frozen=True)
class Row:
    """One piece of work: ours beside its floor, and the ratio that is aimed at.

    `met` is None where nothing was aimed at and the figure is only told.
    """

    work: str
    ours: str
    floor: str = ""
    ratio: str = ""
    target: str = ""
    met: bool | None = None

    def cells(self) -> tuple[str, ...]:
        verdict = {None: "", True: "ok", False: "MISS"}[self.met]
        return self.work, self.ours, self.floor, self.ratio, self.target, verdict


HEADINGS = ("work", "ours", "floor", "ratio", "target", "")


def say(text: str = "") -> None:
    """Tell whoever waits; standard error, so that standard output is the table alone."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


def table(rows: Sequence[Row]) -> str:
    """The rows in columns."""
    lines = [HEADINGS, *(row.cells() for row in rows)]
    widths = [max(len(line[n]) for line in lines) for n in range(len(HEADINGS))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    )


def in_turn(cases: Mapping[Key, Callable[[], float]], rounds: int) -> dict[Key, float]:
    """The median of each case over the rounds, in each of which every case has its turn.

    Every other round goes backwards, so that no case always follows the same one.
    """
    found: dict[Key, list[float]] = {name: [] for name in cases}
    for number in range(rounds):
        for name in list(cases)[:: -1 if number % 2 else 1]:
            found[name].append(cases[name]())
    return {name: statistics.median(values) for name, values in found.items()}


def percentile(values: Sequence[float], percent: int) -> float:
    """The value that so many percent of all stay below, or equal."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, len(ordered) * percent // 100)]
