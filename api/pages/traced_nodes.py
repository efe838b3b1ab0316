"""What of a trace is drawn: its lots, where they ended, and how much went from which to which."""

from collections import defaultdict
from collections.abc import Sequence
from decimal import Decimal
from textwrap import wrap
from uuid import UUID

from django.utils.text import capfirst
from django.utils.translation import gettext as said

from api.pages.flows import LETTERS, MOST_BANDS, MOST_BOXES, Drawing, Flow, Node, Picture, Written
from api.pages.layers import levels_of
from api.pages.short_names import in_two_lines
from api.pages.words import worded
from ledger.trace_ends import End
from ledger.tracing import TracedLot

# A place in the column after lots of one column; what is there of lots of a later one stands later.
Place = tuple[str, bool, int]


def picture_of(
    lots: Sequence[TracedLot], ends: Sequence[End], root: UUID, written: Written
) -> Picture | None:
    """The lots and where they ended, drawn; None of a lot alone, and of too many for anybody."""
    flows = _between(lots)
    if len(lots) > MOST_BOXES or len(flows) + len(ends) > MOST_BANDS:
        return None
    places = _places(lots, flows, ends)
    number = len(lots)
    for those in places.values():
        flows += [Flow(at, number, one.quantity, lots[at].counted) for at, one in those]
        number += 1
    if not flows or number > MOST_BOXES:
        return None
    names = in_two_lines((lot.material_name for lot in lots), LETTERS)
    nodes = [_of_lot(lot, names[lot.material_name], root, written) for lot in lots]
    nodes += [_of_end(place, those, lots, written) for place, those in places.items()]
    return Drawing(nodes, flows, written).picture()


def _between(lots: Sequence[TracedLot]) -> list[Flow]:
    """What went from which lot into which."""
    known = {lot.id: number for number, lot in enumerate(lots)}
    return [
        Flow(known[one], known[lot.id], quantity, lots[known[one]].counted)
        for lot in lots
        for one, quantity in lot.inputs
        if one in known
    ]


def _places(
    lots: Sequence[TracedLot], flows: Sequence[Flow], ends: Sequence[End]
) -> dict[Place, list[tuple[int, End]]]:
    """What went to each place, with the number of its lot: a place for each column of lots."""
    known = {lot.id: number for number, lot in enumerate(lots)}
    levels = levels_of(len(lots), [(one.start, one.end) for one in flows])
    places: dict[Place, list[tuple[int, End]]] = defaultdict(list)
    for one in ends:
        if one.lot in known:
            at = known[one.lot]
            places[one.place, one.known, levels[at]].append((at, one))
    return places


def _of_lot(lot: TracedLot, name: Sequence[str], root: UUID, written: Written) -> Node:
    left = said("%(on_hand)s left") % {"on_hand": written(lot.on_hand, lot.counted)}
    return Node(
        title=lot.code,
        lines=(*name, left) if lot.on_hand else name,
        called=lot.code,
        full=f"{lot.code} {lot.material_name}",
        lot=lot.id,
        root=lot.id == root,
    )


def _of_end(
    place: Place,
    those: Sequence[tuple[int, End]],
    lots: Sequence[TracedLot],
    written: Written,
) -> Node:
    """A place with all that came to it there, in grams and in pieces."""
    name, known, _ = place
    sums: dict[bool, Decimal] = defaultdict(Decimal)
    for at, one in those:
        sums[lots[at].counted] += one.quantity
    called = str(capfirst(worded(name)))
    title, *more = wrap(called, LETTERS)
    lost = [] if known else wrap(said("nobody knows where"), LETTERS)
    totals = [written(sums[kind], kind) for kind in sorted(sums)]
    lines = (*more, *lost, *totals)
    return Node(title, lines, goes_on=len(more), called=called, full=called, known=known)
