"""Two versions of a formula beside each other, line by line: what came, went, and became more."""

from collections import defaultdict, deque
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from formulas.composition import Ingredient


@dataclass(frozen=True, slots=True)
class Row:
    """A line as it stands in a version; `kind` is fixed, balance or to_effect.

    `max_celsius` is in degC: it goes in once the batch is no hotter.
    """

    phase: str
    name: str
    ingredient: Ingredient
    kind: str
    percent: Decimal
    max_percent: Decimal | None = None
    max_celsius: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """A line of both versions, or of one of them."""

    before: Row | None
    after: Row | None

    @property
    def shown(self) -> Row | None:
        """The line as it stands now, or as it stood before it went."""
        return self.after or self.before

    @property
    def more(self) -> Decimal:
        """Percent of the mass that the later version has more of it; negative where it has less."""
        before, after = (row.percent if row else Decimal(0) for row in (self.before, self.after))
        return after - before

    @property
    def less(self) -> Decimal:
        """Percent of the mass that the later version has less of it."""
        return -self.more

    @property
    def changed(self) -> bool:
        return self.before != self.after


def beside(before: Sequence[Row], after: Sequence[Row]) -> list[Pair]:
    """Every line of both, in the order of the later; what is gone follows what it stood under.

    A line is the same where its ingredient is: the first of it in one version is the first of it
    in the other, and so on.
    """
    earlier: dict[Ingredient, deque[int]] = defaultdict(deque)
    for place, row in enumerate(before):
        earlier[row.ingredient].append(place)
    origins = [
        earlier[row.ingredient].popleft() if earlier[row.ingredient] else None for row in after
    ]
    kept = {origin for origin in origins if origin is not None}
    under: dict[int | None, list[Row]] = defaultdict(list)
    last = None
    for place, row in enumerate(before):
        if place in kept:
            last = place
        else:
            under[last].append(row)
    pairs = [Pair(row, None) for row in under[None]]
    for origin, row in zip(origins, after, strict=True):
        pairs.append(Pair(None if origin is None else before[origin], row))
        if origin is not None:
            pairs += [Pair(gone, None) for gone in under[origin]]
    return pairs
