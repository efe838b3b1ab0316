"""A trace as a picture: lots as boxes from left to right, what went from one into another as bands.

Only places are reckoned here, in units of the drawing; a template draws them.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.tracing import TracedLot

BOX_WIDTH: Final = 200
BOX_HEIGHT: Final = 48
ACROSS: Final = 330
DOWN: Final = 64
# So many letters of a name have room in a box, whatever letters they are.
LONGEST_NAME: Final = 20
WIDEST, NARROWEST = Decimal(24), Decimal("1.5")
# More than this nobody reads in a picture; the table beneath has them all.
MOST_BOXES: Final = 60


@dataclass(frozen=True, slots=True)
class Box:
    """A lot at its place."""

    lot: TracedLot
    x: int
    y: int
    root: bool

    @property
    def width(self) -> int:
        return BOX_WIDTH

    @property
    def height(self) -> int:
        return BOX_HEIGHT

    @property
    def name(self) -> str:
        """What is in it, with its middle left out where a box has no room: a size stands last."""
        name = self.lot.material_name
        if len(name) <= LONGEST_NAME:
            return name
        return f"{name[: LONGEST_NAME - 8].rstrip()}…{name[-7:].lstrip()}"

    @property
    def middle(self) -> int:
        return self.y + BOX_HEIGHT // 2


@dataclass(frozen=True, slots=True)
class Band:
    """So much of one lot that went into another, as a curve of this width."""

    path: str
    width: Decimal
    quantity: Decimal
    counted: bool
    x: int
    y: int
    # Which end of its quantity stands at x: that is told where only one band goes in or out.
    anchor: str


@dataclass(frozen=True, slots=True)
class Picture:
    """All of it, and how large it is."""

    boxes: Sequence[Box]
    bands: Sequence[Band]
    width: int
    height: int


def picture(lots: Sequence[TracedLot], root: UUID) -> Picture | None:
    """The lots from their sources on the left to what was made on the right; None if too many."""
    if len(lots) > MOST_BOXES:
        return None
    columns: dict[int, list[TracedLot]] = defaultdict(list)
    levels = _levels(lots)
    for lot in lots:
        columns[levels[lot.id]].append(lot)
    tallest = max(len(column) for column in columns.values())
    boxes = {}
    for level, column in columns.items():
        top = (tallest - len(column)) * DOWN // 2
        for place, lot in enumerate(column):
            boxes[lot.id] = Box(lot, level * ACROSS, top + place * DOWN, lot.id == root)
    width = max(columns) * ACROSS + BOX_WIDTH
    return Picture(list(boxes.values()), _bands(lots, boxes), width, tallest * DOWN)


def _levels(lots: Sequence[TracedLot]) -> Mapping[UUID, int]:
    """How many makings lie before each lot, by the longest way."""
    inputs = {lot.id: [parent for parent, _ in lot.inputs] for lot in lots}
    found: dict[UUID, int] = {}

    def level(id: UUID) -> int:
        if id not in found:
            before = [level(parent) for parent in inputs[id] if parent in inputs]
            found[id] = max(before, default=-1) + 1
        return found[id]

    return {lot.id: level(lot.id) for lot in lots}


def _bands(lots: Sequence[TracedLot], boxes: Mapping[UUID, Box]) -> list[Band]:
    flows = [
        (boxes[parent], boxes[lot.id], quantity)
        for lot in lots
        for parent, quantity in lot.inputs
        if parent in boxes
    ]
    most: dict[bool, Decimal] = defaultdict(lambda: Decimal(1))
    for start, _, quantity in flows:
        most[start.lot.counted] = max(most[start.lot.counted], quantity)
    out = Counter(start.lot.id for start, _, _ in flows)
    into = Counter(end.lot.id for _, end, _ in flows)
    return [
        _band(
            start,
            end,
            quantity,
            most[start.lot.counted],
            at_end=out[start.lot.id] > into[end.lot.id],
        )
        for start, end, quantity in flows
    ]


def _band(start: Box, end: Box, quantity: Decimal, most: Decimal, *, at_end: bool) -> Band:
    x, y = start.x + BOX_WIDTH, start.middle
    bend = (x + end.x) // 2
    path = f"M{x} {y}C{bend} {y} {bend} {end.middle} {end.x} {end.middle}"
    width = max(NARROWEST, (WIDEST * quantity / most).quantize(Decimal("0.1")))
    at = (end.x - 8, end.middle - 6, "end") if at_end else (x + 8, y - 6, "start")
    return Band(path, width, quantity, start.lot.counted, *at)
