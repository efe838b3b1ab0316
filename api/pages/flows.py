"""A trace as a picture: lots as boxes, what went from one into another as bands.

From the sources on the left to where all of it ended on the right (`api.pages.layers`). Only
places are reckoned here, in units of the drawing; a template draws. Of what is weighed, and of what
is counted, a band is as wide as its quantity, each by a scale of its own; what would be too thin to
be seen is as thin as can be seen, and dashed.
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, Decimal
from typing import Final
from uuid import UUID

from api.pages.layers import Layers, layered, tops_of

# How wide a box is, and for how many letters of a name a line has room, whatever letters they are.
WIDTH: Final = 180
LETTERS: Final = 18
# Where the first line of a box stands, and how far down each other.
FIRST: Final = 19
LINE: Final = 17
BENEATH: Final = 12
APART: Final = 14
# Between columns: as much as the longest quantity needs, and room for curves.
LEAST_GAP: Final = 84
CURVES: Final = 28
LETTER: Final = 7
HALF_LETTER: Final = 4
# How far apart bands meet a box: those whose quantity is told there, and the others.
TOLD: Final = 17
UNTOLD: Final = 4
# The widest band, the most that meet a side of a box together, and what can still be seen.
WIDEST: Final = Decimal(30)
WIDEST_SIDE: Final = Decimal(160)
NARROWEST: Final = Decimal(1)
# More than this nobody reads in a picture; the table beneath has them all.
MOST_BOXES: Final = 40
MOST_BANDS: Final = 80

# How a quantity is written, of what is weighed or counted.
Written = Callable[[Decimal, bool], str]


@dataclass(frozen=True, slots=True)
class Flow:
    """So much, in pieces or grams, from one node of a picture to another."""

    start: int
    end: int
    quantity: Decimal
    counted: bool


@dataclass(frozen=True, slots=True)
class Node:
    """What is drawn as a box: a lot, or a place where lots ended."""

    title: str
    lines: Sequence[str]
    # How many of the lines the title goes on in.
    goes_on: int = field(default=0, kw_only=True)
    # What a band calls it, and what it is called where there is room.
    called: str
    full: str
    lot: UUID | None = None
    root: bool = False
    known: bool = True


@dataclass(frozen=True, slots=True)
class Box:
    """A node at its place."""

    node: Node
    x: int
    y: int
    height: int

    @property
    def right(self) -> int:
        return self.x + WIDTH

    @property
    def left(self) -> int:
        """Where its lines begin: the ends of a place are round."""
        return self.x + (10 if self.node.lot else 16)

    @property
    def first(self) -> int:
        """How far down its title stands, so that all its lines are in its middle."""
        return self.y + (self.height - block_of(self.node)) // 2 + FIRST

    @property
    def lines(self) -> list[tuple[str, int]]:
        """Its lines beneath the title, and how far down each stands."""
        return [(text, self.first + LINE * place) for place, text in enumerate(self.node.lines, 1)]


@dataclass(frozen=True, slots=True)
class Plate:
    """A quantity on its band; `y` is its middle."""

    text: str
    x: int
    y: int

    @property
    def width(self) -> int:
        return width_of(self.text)

    @property
    def middle(self) -> int:
        return self.x + self.width // 2

    @property
    def foot(self) -> int:
        return self.y + HALF_LETTER


@dataclass(frozen=True, slots=True)
class Band:
    """So much of one lot that went to another or to an end, as a line through these places.

    It bends between columns and runs straight within one.
    """

    places: Sequence[tuple[int, int]]
    width: Decimal
    # Whether it would be narrower than can be seen.
    thin: bool
    # From what to what, and how much.
    says: str
    plate: Plate

    @property
    def path(self) -> str:
        (x, y), *others = self.places
        drawn, straight = f"M{x} {y}", False
        for to, down in others:
            middle = (x + to) // 2
            drawn += f"H{to}" if straight else f"C{middle} {y} {middle} {down} {to} {down}"
            x, y, straight = to, down, not straight
        return drawn


@dataclass(frozen=True, slots=True)
class Picture:
    """All of it, and how large it is; `widest` are the largest quantities of grams and pieces."""

    boxes: Sequence[Box]
    bands: Sequence[Band]
    width: int
    height: int
    widest: Sequence[str] = ()

    @property
    def thin(self) -> bool:
        """Whether some bands carry less than their width says."""
        return any(band.thin for band in self.bands)


def block_of(node: Node) -> int:
    """How high a box is for its lines alone."""
    return FIRST + LINE * len(node.lines) + BENEATH


def width_of(text: str) -> int:
    return LETTER * len(text) + LETTER


@dataclass(slots=True)
class Drawing:
    """The nodes and flows of a trace, as they are laid out."""

    nodes: Sequence[Node]
    flows: Sequence[Flow]
    written: Written
    layers: Layers = field(init=False)
    widths: Mapping[int, Decimal] = field(init=False)
    # Of each gap between two columns, whether quantities are told where bands begin.
    at_start: Sequence[bool] = field(init=False)
    columns: dict[int, int] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.layers = layered(len(self.nodes), [(one.start, one.end) for one in self.flows])
        self.columns = {
            item: number for number, column in enumerate(self.layers.columns) for item in column
        }
        self.widths = self._widths()
        self.at_start = [
            self._crowded(number, 0) <= self._crowded(number + 1, -1)
            for number in range(len(self.layers.columns))
        ]

    def picture(self) -> Picture:
        """Everything at its place."""
        chains, slots = self.layers.chains, self._slots()
        tops = tops_of(
            self.layers,
            lambda item: slots[item] if item in slots else self._height(item),
            lambda item: HALF_LETTER if item in slots else APART,
        )
        lefts = self._lefts()
        boxes = [
            Box(node, lefts[self.columns[item]], tops[item], self._height(item))
            for item, node in enumerate(self.nodes)
        ]
        middles = {item: tops[item] + height // 2 for item, height in slots.items()}
        ports = self._ports(boxes, middles)
        bands = []
        for number, chain in enumerate(chains):
            places = [(boxes[chain[0]].right, ports[number, 0])]
            for item in chain[1:-1]:
                left = lefts[self.columns[item]]
                places += [(left, middles[item]), (left + WIDTH, middles[item])]
            places.append((boxes[chain[-1]].x, ports[number, -1]))
            bands.append(self._band(number, places))
        height = max(
            *(box.y + box.height for box in boxes),
            *(tops[item] + height for item, height in slots.items()),
            0,
        )
        return Picture(boxes, bands, lefts[-1] + WIDTH, height, self._widest())

    def _widths(self) -> dict[int, Decimal]:
        """How wide each band is: true to its quantity among those of its unit."""
        widths: dict[int, Decimal] = {}
        for counted in (False, True):
            those = {n: one for n, one in enumerate(self.flows) if one.counted == counted}
            sides: dict[tuple[str, int], Decimal] = defaultdict(Decimal)
            for one in those.values():
                sides["out", one.start] += one.quantity
                sides["in", one.end] += one.quantity
            most = max((one.quantity for one in those.values()), default=Decimal(1)) or Decimal(1)
            scale = min(WIDEST / most, WIDEST_SIDE / max(sides.values(), default=most))
            widths |= {number: one.quantity * scale for number, one in those.items()}
        return widths

    def _widest(self) -> list[str]:
        """The largest quantity of what is weighed and of what is counted, as far as it is drawn."""
        most: dict[bool, Decimal] = {}
        for one in self.flows:
            most[one.counted] = max(most.get(one.counted, one.quantity), one.quantity)
        return [self.written(most[counted], counted) for counted in sorted(most)]

    def _crowded(self, column: int, end: int) -> int:
        """How many quantities would stand at boxes beyond the two that have room anyway."""
        counts: dict[int, int] = defaultdict(int)
        for chain in self.layers.chains:
            if len(chain) == 2 and self.columns[chain[end]] == column:
                counts[chain[end]] += 1
        return sum(max(0, count - 2) for count in counts.values())

    def _told_at(self, number: int) -> int | None:
        """At which end of a band its quantity stands: 0 or -1, or None in its slot."""
        chain = self.layers.chains[number]
        if len(chain) > 2:
            return None
        return 0 if self.at_start[self.columns[chain[0]]] else -1

    def _row(self, number: int, end: int) -> int:
        """How high the side of a box is where this end of a band meets it."""
        wide = int(max(NARROWEST, self.widths[number]).to_integral_value(ROUND_CEILING)) + 2
        return max(TOLD if self._told_at(number) == end else UNTOLD, wide)

    def _slots(self) -> dict[int, int]:
        """How high each slot is; the first of a band has room for its quantity."""
        return {
            item: max(TOLD, self._row(number, 0)) if place == 0 else self._row(number, 0)
            for number, chain in enumerate(self.layers.chains)
            for place, item in enumerate(chain[1:-1])
        }

    def _height(self, node: int) -> int:
        rows = block_of(self.nodes[node])
        for end in (0, -1):
            those = [n for n, chain in enumerate(self.layers.chains) if chain[end] == node]
            rows = max(rows, sum(self._row(number, end) for number in those) + HALF_LETTER)
        return rows

    def _lefts(self) -> list[int]:
        """Where each column begins."""
        gaps = [LEAST_GAP] * len(self.layers.columns)
        for one, chain in zip(self.flows, self.layers.chains, strict=True):
            if len(chain) == 2:
                wide = width_of(self.written(one.quantity, one.counted)) + CURVES
                gap = self.columns[chain[0]]
                gaps[gap] = max(gaps[gap], wide)
        lefts = [0]
        for gap in gaps[:-1]:
            lefts.append(lefts[-1] + WIDTH + gap)
        return lefts

    def _ports(
        self, boxes: Sequence[Box], middles: Mapping[int, int]
    ) -> dict[tuple[int, int], int]:
        """How far down each end of each band meets its box: in the order of what lies beyond."""
        met: dict[tuple[int, int], list[int]] = defaultdict(list)
        for number, chain in enumerate(self.layers.chains):
            for end in (0, -1):
                met[chain[end], end].append(number)
        columns = self.layers.columns
        places = {item: place for column in columns for place, item in enumerate(column)}
        found = {}
        for (node, end), numbers in met.items():
            beyond = 1 if end == 0 else -2
            numbers.sort(key=lambda one: places[self.layers.chains[one][beyond]])
            rows = [self._row(number, end) for number in numbers]
            down = boxes[node].y + (boxes[node].height - sum(rows)) // 2
            for number, row in zip(numbers, rows, strict=True):
                found[number, end] = down + row // 2
                down += row
        return found

    def _band(self, number: int, places: Sequence[tuple[int, int]]) -> Band:
        one, width = self.flows[number], self.widths[number]
        text = self.written(one.quantity, one.counted)
        (left, y), (right, to) = places[0], places[-1]
        end = self._told_at(number)
        if end == 0:
            plate = Plate(text, left + HALF_LETTER, y)
        elif end == -1:
            plate = Plate(text, right - HALF_LETTER - width_of(text), to)
        else:
            left, y = places[1]
            plate = Plate(text, left + (WIDTH - width_of(text)) // 2, y)
        says = f"{self.nodes[one.start].called} → {self.nodes[one.end].called}: {text}"
        shown = max(NARROWEST, width.quantize(Decimal("0.01")))
        return Band(places, shown, width < NARROWEST, says, plate)
