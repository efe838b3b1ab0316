"""A trace as a picture: lots as boxes, what went from one into another as bands.

From left to right where a page has room for it, and one box under the other where it has not
(`api.pages.upright`). Only places are reckoned here, in units of the drawing; a template draws.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final
from uuid import UUID

from api.pages.band_marks import Curve, Mark, marks_on
from ledger.tracing import TracedLot

# How wide a box is, and for how many letters of a name it has room, whatever letters they are: of
# few columns, and of so many that a page at a desk would not take them as wide.
FEW: Final = 3
ROOMY: Final = (244, 25)
NARROW: Final = (180, 18)
BOX_HEIGHT: Final = 48
GAP: Final = 98
DOWN: Final = 64
# So wide a picture can be made as small as a page at a desk, and its letters still be read.
WIDEST_READ: Final = 1320
# Of what is weighed, and of what is counted: these say nothing of each other.
WIDEST: Final = {False: Decimal(20), True: Decimal(5)}
NARROWEST: Final = Decimal("1.5")
# So many figures have room one above the other at the side of a box.
MOST_TOLD: Final = 3
LETTER: Final = 7
HALF_LETTER: Final = 4
PLATE: Final = 15
SWEEPS: Final = 3
# More than this nobody reads in a picture; the table beneath has them all.
MOST_BOXES: Final = 60
MOST_BANDS: Final = 150


# How a quantity is written, of what is weighed or counted.
Written = Callable[[Decimal, bool], str]


@dataclass(frozen=True, slots=True)
class Box:
    """A lot at its place; `letters` of a name have room in it."""

    lot: TracedLot
    x: int
    y: int
    width: int
    height: int
    root: bool
    letters: int
    # How much of it went on, or went into it, where that is told within the box.
    amount: str = ""

    @property
    def right(self) -> int:
        return self.x + self.width

    @property
    def name(self) -> str:
        """What is in it, with its middle left out where a box has no room: a size stands last."""
        name = self.lot.material_name
        if len(name) <= self.letters:
            return name
        return f"{name[: self.letters - 8].rstrip()}…{name[-7:].lstrip()}"


@dataclass(frozen=True, slots=True)
class Plate:
    """A quantity beside the box at which it is told, on ground of its own: no band strikes it."""

    text: str
    x: int
    y: int

    @property
    def width(self) -> int:
        return LETTER * len(self.text) + LETTER

    @property
    def middle(self) -> int:
        return self.x + self.width // 2

    @property
    def top(self) -> int:
        return self.y - PLATE + HALF_LETTER


@dataclass(frozen=True, slots=True)
class Band:
    """So much of one lot that went into another, as a curve of this width."""

    curve: Curve
    width: Decimal
    # From which lot into which, and how much.
    says: str
    # Where its quantity has room; it may stand in a box as well.
    plate: Plate | None = None
    told: bool = False
    # Where neither is, it has a number, by which it is told beneath the picture.
    mark: Mark | None = None

    @property
    def path(self) -> str:
        x, y, *bent = self.curve
        return f"M{x} {y}C{' '.join(map(str, bent))}"


@dataclass(frozen=True, slots=True)
class Picture:
    """All of it, and how large it is."""

    boxes: Sequence[Box]
    bands: Sequence[Band]
    width: int
    height: int

    @property
    def key(self) -> Sequence[Band]:
        """The bands whose quantity has no room in the picture, by their numbers."""
        return [band for band in self.bands if band.mark]

    @property
    def fits(self) -> bool:
        """Whether all of it can be read at once at a desk."""
        return self.width <= WIDEST_READ


def columns_of(lots: Sequence[TracedLot]) -> Mapping[int, Sequence[TracedLot]]:
    """The lots by how far they are from their sources, each column in the order of its boxes."""
    columns: dict[int, list[TracedLot]] = defaultdict(list)
    levels = _levels(lots)
    for lot in lots:
        columns[levels[lot.id]].append(lot)
    _untangle(columns, _neighbours(lots))
    return columns


def across(columns: Mapping[int, Sequence[TracedLot]], root: UUID, written: Written) -> Picture:
    """The lots from their sources on the left to what was made on the right."""
    tops = _tops(columns)
    wide, letters = ROOMY if len(columns) <= FEW else NARROW
    boxes = {
        lot.id: Box(
            *(lot, level * (wide + GAP), tops[lot.id], wide, BOX_HEIGHT),
            root=lot.id == root,
            letters=letters,
        )
        for level, column in columns.items()
        for lot in column
    }
    width = max(columns) * (wide + GAP) + wide
    height = max(tops.values()) + BOX_HEIGHT
    return Picture(list(boxes.values()), _bands(boxes, written), width, height)


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


def flows_of(boxes: Mapping[UUID, Box]) -> list[tuple[Box, Box, Decimal]]:
    """From which box into which how much went, as far as both are drawn."""
    return [
        (boxes[parent], box, quantity)
        for box in boxes.values()
        for parent, quantity in box.lot.inputs
        if parent in boxes
    ]


def widths_of(
    flows: Sequence[tuple[Box, Box, Decimal]], widest: Mapping[bool, Decimal]
) -> list[Decimal]:
    """How wide each band is: of what is weighed, and of what is counted, beside the most of it."""
    most: dict[bool, Decimal] = defaultdict(lambda: Decimal(1))
    for start, _, quantity in flows:
        most[start.lot.counted] = max(most[start.lot.counted], quantity)
    wide = [widest[start.lot.counted] * much / most[start.lot.counted] for start, _, much in flows]
    return [max(NARROWEST, width.quantize(Decimal("0.1"))) for width in wide]


def says(start: Box, end: Box, text: str) -> str:
    """What is told of a band in the key, and where one points at it."""
    return f"{start.lot.code} → {end.lot.code}: {text}"


def _bands(boxes: Mapping[UUID, Box], written: Written) -> list[Band]:
    flows = flows_of(boxes)
    out, into = defaultdict(list), defaultdict(list)
    for start, end, _ in flows:
        out[start.lot.id].append(end)
        into[end.lot.id].append(start)
    bands = [
        _band(
            (start, _port(start, out[start.lot.id], end), len(out[start.lot.id])),
            (end, _port(end, into[end.lot.id], start), len(into[end.lot.id])),
            width,
            written(quantity, start.lot.counted),
        )
        for (start, end, quantity), width in zip(flows, widths_of(flows, WIDEST), strict=True)
    ]
    return keyed(bands, boxes.values())


def keyed(bands: Sequence[Band], boxes: Iterable[Box]) -> list[Band]:
    """The bands, of which each that is told nowhere has a number in the key."""
    taken = [(box.x, box.y, box.right, box.y + box.height) for box in boxes]
    plates = [band.plate for band in bands if band.plate]
    taken += [(one.x, one.top, one.x + one.width, one.top + PLATE) for one in plates]
    untold = [band for band in bands if not band.told]
    marks = iter(marks_on([band.curve for band in untold], taken))
    return [band if band.told else replace(band, mark=next(marks)) for band in bands]


def _port(box: Box, others: Sequence[Box], other: Box) -> int:
    """How far down a band meets the side of a box: in the order of the boxes at its other end."""
    place = sorted((one.y, one.x) for one in others).index((other.y, other.x))
    return box.y + BOX_HEIGHT * (2 * place + 1) // (2 * len(others))


def _band(
    start: tuple[Box, int, int], end: tuple[Box, int, int], width: Decimal, text: str
) -> Band:
    """A band from a box to another; each end is its box, how far down, and how many meet there.

    Its quantity is told where fewer bands go in or out, if there is room.
    """
    (before, y, out), (after, to, into) = start, end
    bend = (before.right + after.x) // 2
    curve = (before.right, y, bend, y, bend, to, after.x, to)
    plate = None
    if min(out, into) <= MOST_TOLD:
        plate = Plate(text, before.right + HALF_LETTER, y + HALF_LETTER)
        if out > into:
            plate = Plate(text, after.x - HALF_LETTER - plate.width, to + HALF_LETTER)
    return Band(curve, width, says(before, after, text), plate, told=plate is not None)
