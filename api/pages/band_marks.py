"""Where a band's number stands in a picture: on the band, clear of all that is written already."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

# The ends of a curve and what it is bent to, as x and y by turns.
Curve = tuple[int, int, int, int, int, int, int, int]
# Left, top, right and bottom.
Place = tuple[int, int, int, int]

WIDTH: Final = 20
HEIGHT: Final = 14
# At so many places along a band its number is tried.
STEPS: Final = 24


@dataclass(frozen=True, slots=True)
class Mark:
    """The number of a band in the key beneath the picture; its middle is at `x` and `y`."""

    number: int
    x: int
    y: int

    @property
    def place(self) -> Place:
        left, top = self.x - WIDTH // 2, self.y - HEIGHT // 2
        return left, top, left + WIDTH, top + HEIGHT


def marks_on(curves: Sequence[Curve], taken: Iterable[Place]) -> list[Mark]:
    """A number for each curve in their order: at the first place along it that is free.

    Where there is none it stands in the middle: the key says between which lots the band goes.
    """
    places = list(taken)
    marks = []
    for number, curve in enumerate(curves, 1):
        tried = [Mark(number, *_along(curve, step)) for step in range(2, STEPS - 1)]
        free = (one for one in tried if not any(overlap(one.place, other) for other in places))
        mark = next(free, tried[len(tried) // 2])
        marks.append(mark)
        places.append(mark.place)
    return marks


def overlap(one: Place, other: Place) -> bool:
    """Whether two places have anything in common."""
    across = one[0] < other[2] and other[0] < one[2]
    return across and one[1] < other[3] and other[1] < one[3]


def _along(curve: Curve, step: int) -> tuple[int, int]:
    """The point of a cubic curve after so many of its steps."""
    rest = STEPS - step
    shares = (rest**3, 3 * rest**2 * step, 3 * rest * step**2, step**3)
    x, y = (
        sum(share * at for share, at in zip(shares, curve[way::2], strict=True)) // STEPS**3
        for way in (0, 1)
    )
    return x, y
