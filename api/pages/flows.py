"""A trace as a picture: lots as boxes from left to right, what went from one into another as bands.

Only places are reckoned here, in units of the drawing; a template draws them.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.tracing import TracedLot

BOX_WIDTH: Final = 200
BOX_HEIGHT: Final = 48
ACROSS: Final = 300
DOWN: Final = 64
# So many letters of a name have room in a box, whatever letters they are.
LONGEST_NAME: Final = 20
# Of what is weighed, and of what is counted: these say nothing of each other.
WIDEST: Final = {False: Decimal(20), True: Decimal(5)}
NARROWEST: Final = Decimal("1.5")
# So many figures have room one above the other at the side of a box.
MOST_TOLD: Final = 3
HALF_LETTER: Final = 4
SWEEPS: Final = 3
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


@dataclass(frozen=True, slots=True)
class Band:
    """So much of one lot that went into another, as a curve of this width."""

    path: str
    width: Decimal
    quantity: Decimal
    counted: bool
    # From which lot into which.
    says: str
    # Whether its quantity has room beside it; otherwise it is told where one points at it.
    told: bool
    x: int
    y: int
    # Which end of its quantity stands at x: it is told where fewer bands go in or out.
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
    _untangle(columns, _neighbours(lots))
    tops = _tops(columns)
    boxes = {
        lot.id: Box(lot, levels[lot.id] * ACROSS, tops[lot.id], lot.id == root) for lot in lots
    }
    width = max(columns) * ACROSS + BOX_WIDTH
    height = max(tops.values()) + BOX_HEIGHT
    return Picture(list(boxes.values()), _bands(lots, boxes), width, height)


def _neighbours(lots: Sequence[TracedLot]) -> Mapping[UUID, list[UUID]]:
    """The lots that went into each, and those that it went into."""
    known = {lot.id for lot in lots}
    found: dict[UUID, list[UUID]] = defaultdict(list)
    for lot in lots:
        for parent, _ in lot.inputs:
            if parent in known:
                found[lot.id].append(parent)
                found[parent].append(lot.id)
    return found


def _levels(lots: Sequence[TracedLot]) -> Mapping[UUID, int]:
    """The column of each lot: how many makings lie before it, by the longest way.

    What nothing went into stands just before the first that it went into, so that a lid lies
    beside its jars and not at the far end.
    """
    inputs = {lot.id: [parent for parent, _ in lot.inputs] for lot in lots}
    found: dict[UUID, int] = {}

    def level(id: UUID) -> int:
        if id not in found:
            before = [level(parent) for parent in inputs[id] if parent in inputs]
            found[id] = max(before, default=-1) + 1
        return found[id]

    levels = {lot.id: level(lot.id) for lot in lots}
    first: dict[UUID, int] = {}
    for id, parents in inputs.items():
        for parent in parents:
            first[parent] = min(first.get(parent, levels[id]), levels[id])
    return {id: first[id] - 1 if not n and id in first else n for id, n in levels.items()}


def _tops(columns: Mapping[int, Sequence[TracedLot]]) -> Mapping[UUID, int]:
    """How far down each box begins: each column is centred beside the tallest."""
    tallest = max(len(column) for column in columns.values())
    return {
        lot.id: (tallest - len(column)) * DOWN // 2 + place * DOWN
        for column in columns.values()
        for place, lot in enumerate(column)
    }


def _untangle(
    columns: Mapping[int, list[TracedLot]], neighbours: Mapping[UUID, Sequence[UUID]]
) -> None:
    """Order each column so that boxes lie beside those that they are tied to.

    There and back a few times, each box goes to the mean height of its neighbours, as is common
    practice for drawings in layers.
    """
    there = sorted(columns)
    for way in (there, there[::-1]) * SWEEPS:
        for number in way:
            tops = _tops(columns)

            def height(lot: TracedLot, tops: Mapping[UUID, int] = tops) -> int:
                beside = [tops[one] for one in neighbours[lot.id]] or [tops[lot.id]]
                return 100 * sum(beside) // len(beside)

            columns[number].sort(key=height)


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
    out, into = defaultdict(list), defaultdict(list)
    for start, end, _ in flows:
        out[start.lot.id].append(end)
        into[end.lot.id].append(start)
    return [
        _band(
            (start, _port(start, out[start.lot.id], end), len(out[start.lot.id])),
            (end, _port(end, into[end.lot.id], start), len(into[end.lot.id])),
            quantity,
            most[start.lot.counted],
        )
        for start, end, quantity in flows
    ]


def _port(box: Box, others: Sequence[Box], other: Box) -> int:
    """How far down a band meets the side of a box: in the order of the boxes at its other end."""
    place = sorted((one.y, one.x) for one in others).index((other.y, other.x))
    return box.y + BOX_HEIGHT * (2 * place + 1) // (2 * len(others))


def _band(
    start: tuple[Box, int, int], end: tuple[Box, int, int], quantity: Decimal, most: Decimal
) -> Band:
    """A band from a box to another; each end is its box, how far down, and how many meet there."""
    (before, y, out), (after, to, into) = start, end
    x = before.x + BOX_WIDTH
    bend = (x + after.x) // 2
    path = f"M{x} {y}C{bend} {y} {bend} {to} {after.x} {to}"
    counted = before.lot.counted
    width = max(NARROWEST, (WIDEST[counted] * quantity / most).quantize(Decimal("0.1")))
    at = (after.x - 8, to + HALF_LETTER, "end") if out > into else (x + 8, y + HALF_LETTER, "start")
    told = min(out, into) <= MOST_TOLD
    says = f"{before.lot.code} → {after.lot.code}"
    return Band(path, width, quantity, counted, says, told, *at)
