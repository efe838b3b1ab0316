"""A trace for a narrow page: one box under the other, what went into what as bows at their side.

It is as wide as a phone, however many lots there are, and gets longer instead.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Final
from uuid import UUID

from api.pages.band_marks import Curve
from api.pages.flows import Band, Box, Picture, Written, flows_of, keyed, says, widths_of
from ledger.tracing import TracedLot

WIDTH: Final = 340
# Left of the boxes there is room for the bows; a longer way makes a wider bow.
LEFT: Final = 90
BOX_HEIGHT: Final = 46
DOWN: Final = 58
LONGEST_NAME: Final = 28
LEAST_REACH: Final = 34
MOST_REACH: Final = 112
REACH: Final = 14
WIDEST: Final = {False: Decimal(14), True: Decimal(4)}


def upright(columns: Mapping[int, Sequence[TracedLot]], root: UUID, written: Written) -> Picture:
    """The lots from their sources above to what was made below."""
    ordered = [lot for level in sorted(columns) for lot in columns[level]]
    boxes = {
        lot.id: Box(
            *(lot, LEFT, place * DOWN, WIDTH - LEFT, BOX_HEIGHT),
            root=lot.id == root,
            letters=LONGEST_NAME,
        )
        for place, lot in enumerate(ordered)
    }
    flows = flows_of(boxes)
    ends = _ends(flows)
    bands = []
    for (start, end, quantity), width in zip(flows, widths_of(flows, WIDEST), strict=True):
        text = written(quantity, start.lot.counted)
        # Where a box has this bow alone, its quantity stands in the box.
        told = 1 in (len(ends[start.lot.id]), len(ends[end.lot.id]))
        bands.append(Band(_bow(start, end, ends), width, says(start, end, text), told=told))
        if len(ends[start.lot.id]) == 1:
            boxes[start.lot.id] = replace(start, amount=f"{text} →")
        elif len(ends[end.lot.id]) == 1:
            boxes[end.lot.id] = replace(end, amount=f"→ {text}")
    height = (len(ordered) - 1) * DOWN + BOX_HEIGHT
    return Picture(list(boxes.values()), keyed(bands, boxes.values()), WIDTH, height)


def _ends(flows: Sequence[tuple[Box, Box, Decimal]]) -> Mapping[UUID, list[int]]:
    """Where the other ends of a box's bows are: those from above first, a nearer one before one
    that is further up; then those to below, a further one before a nearer one. So no two cross."""
    above, below = defaultdict(list), defaultdict(list)
    for start, end, _ in flows:
        above[end.lot.id].append(start.y)
        below[start.lot.id].append(end.y)
    return {
        id: sorted(above[id], reverse=True) + sorted(below[id], reverse=True)
        for id in {*above, *below}
    }


def _bow(start: Box, end: Box, ends: Mapping[UUID, list[int]]) -> Curve:
    y, to = _port(start, ends, end), _port(end, ends, start)
    reach = min(MOST_REACH, LEAST_REACH + REACH * ((end.y - start.y) // DOWN - 1))
    return LEFT, y, LEFT - reach, y, LEFT - reach, to, LEFT, to


def _port(box: Box, ends: Mapping[UUID, list[int]], other: Box) -> int:
    """How far down a bow meets the side of a box."""
    others = ends[box.lot.id]
    return box.y + BOX_HEIGHT * (2 * others.index(other.y) + 1) // (2 * len(others))
