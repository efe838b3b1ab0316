"""Many things written together, a part at a time; what is refused among them is found by halves."""

from collections.abc import Callable, Iterator, Sequence
from typing import Final, Generic, TypeVar

from django.db import transaction

from ledger.entries import explained
from ledger.errors import Refusal

# So many that are refused are enough to be told; others are found when these are put right.
ENOUGH: Final = 100
# How much is done, told in between.
Told = Callable[[int], None]
Thing = TypeVar("Thing")
Made = TypeVar("Made")


def silent(done: int) -> None:
    """Nobody waits to be told."""


def parts_of(
    things: Sequence[Thing], most: int, weight: Callable[[Thing], int] = lambda thing: 1
) -> Iterator[list[Thing]]:
    """The things in their order, in parts that weigh `most` or little more."""
    part: list[Thing] = []
    weighs = 0
    for thing in things:
        part.append(thing)
        weighs += weight(thing)
        if weighs >= most:
            yield part
            part, weighs = [], 0
    if part:
        yield part


class Together(Generic[Thing, Made]):
    """Things that are written at once, or by halves until those that are refused stand alone."""

    def __init__(
        self,
        write: Callable[[Sequence[Thing]], Sequence[Made]],
        refused: Callable[[Thing, Refusal], None],
    ) -> None:
        self.write, self.refused, self.found = write, refused, 0

    def written(self, things: Sequence[Thing]) -> list[tuple[Thing, Made]]:
        """What is written of them, each with what was made of it, in the open transaction."""
        if not things or self.found >= ENOUGH:
            return []
        try:
            with transaction.atomic(), explained():
                return list(zip(things, self.write(things), strict=True))
        except Refusal as refusal:
            if len(things) == 1:
                self.found += 1
                self.refused(things[0], refusal)
                return []
        half = len(things) // 2
        return self.written(things[:half]) + self.written(things[half:])
