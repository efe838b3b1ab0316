"""What a batch is planned from, and what is known of it: recipes, wares, plans."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from tests.stateful.oracle import Event, Lot, Material, Place

TAP = "source"
STEP = Fraction(1, 100)
NEVER = 10**6


@dataclass(frozen=True)
class Wanted:
    """A line of a recipe: its percent, whether it is the balance, and its maximum to effect."""

    material: Material
    percent: Fraction
    balance: bool = False
    most: Fraction | None = None


@dataclass(frozen=True)
class Recipe:
    """What a formula makes, of what, with what normal loss, and how many days it lasts."""

    makes: Material
    lines: tuple[Wanted, ...]
    loss: Fraction
    shelf_life: int | None = None

    def scale(self, batch: Fraction) -> list[Fraction]:
        """Grams of each line, which sum to the batch."""
        exact = [batch * line.percent / 100 / STEP for line in self.lines]
        if any(line.balance for line in self.lines):
            parts = [round(part) for part in exact]
            last = [n for n, line in enumerate(self.lines) if line.balance]
            parts[last[0]] += int(batch / STEP) - sum(parts)
        else:
            parts = [int(part) for part in exact]
            last = sorted(range(len(exact)), key=lambda n: parts[n] - exact[n])
            for place in last[: int(batch / STEP) - sum(parts)]:
                parts[place] += 1
        return [part * STEP for part in parts]


@dataclass(frozen=True)
class Ware:
    """A product: the fill of a unit in grams, overfill included, its packaging and its policy."""

    makes: Material
    recipe: Recipe
    fill: Fraction
    packaging: Mapping[Material, Fraction]
    minutes_per_batch: Fraction
    minutes_per_unit: Fraction
    hourly_rate: Fraction
    overhead_per_batch: Fraction
    overhead_percent: Fraction


@dataclass
class Plan:
    """A batch: its lines in grams, the picks of each and of its packaging, and what was weighed."""

    place: Place
    recipe: Recipe
    ware: Ware | None
    batch: Fraction
    output: Fraction
    grams: list[Fraction]
    picks: list[dict[Lot, Fraction]]
    state: str = "planned"
    ended_by: Event | None = None
    # For which line, none for an addition; below zero is weighed back.
    weighed: list[tuple[int | None, Lot, Fraction, Event]] = field(default_factory=list)

    def masses(self, line: int) -> tuple[Fraction, Fraction]:
        """Grams of everything else and of a line: as planned, as long as nothing was weighed."""
        stands: dict[int | None, Fraction] = defaultdict(Fraction)
        for place, _, grams, event in self.weighed:
            if not event.undone:
                stands[place] += grams
        others = [stands[n] or grams for n, grams in enumerate(self.grams) if n != line]
        return sum(others, stands[None]), stands[line]

    def last_line(self, lot: Lot) -> int | None:
        """The line that a lot was last weighed for."""
        lines = [n for n, which, q, e in self.weighed if which == lot and q > 0 and not e.undone]
        return lines[-1] if lines else None
