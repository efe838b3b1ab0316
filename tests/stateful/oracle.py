"""What must come of every event, in exact fractions, written from the definitions alone.

Quantities are exact. The ledger keeps values to a millionth, so the value of a draw is first
compared with its exact share and then taken over as the fact that it is: from there on, what is
left must be equal to the last digit.

- Moving average: all of a material is one pool (IAS 2.27).
- First in first out: the oldest layer first, whatever lot was poured (IAS 2.27).
- By lot: from the layer of the lot that was poured (IAS 2.23).
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

MILLIONTH = Fraction(1, 10**6)
ZERO = Fraction(0)
STORE = "store"
# A batch in process is a place of its own, called by this and its code.
BATCH = "batch "

Lot = str
Material = str
Place = str
Key = tuple[Place, "Lot | None"]
Layers = dict["Lot | None", list[Fraction]]


class Wrong(AssertionError):
    """The ledger gave a value that the definitions do not."""


def holds_goods(place: Place) -> bool:
    """Whether goods lie there, of which there can never be less than nothing."""
    return place == STORE or place.startswith(BATCH)


@dataclass
class Line:
    """So much of a lot, worth so much, at a place; what leaves is negative.

    Without a lot it is value alone.
    """

    place: Place
    lot: Lot | None
    quantity: Fraction
    value: Fraction


@dataclass
class Event:
    """What one entry did to the holdings and to the layers."""

    kind: str
    day: int
    lines: list[Line] = field(default_factory=list)
    # Of which lot, from or to which layer, how much and worth what.
    layers: list[tuple[Lot, Lot | None, Fraction, Fraction]] = field(default_factory=list)
    undone: bool = False
    sale: "Event | None" = None
    returns: list["Event"] = field(default_factory=list)
    # Of which batch, and the samples that were issued with it.
    batch: Place = ""
    samples: "Event | None" = None


class Oracle:
    """A maker's books by definition."""

    def __init__(self) -> None:
        self.formula: dict[Material, str] = {}
        self.material: dict[Lot, Material] = {}
        self.held: dict[Key, list[Fraction]] = defaultdict(lambda: [ZERO, ZERO])
        self.moved: dict[Key, list[tuple[int, Fraction]]] = defaultdict(list)
        # Insertion order is the order of receipt.
        self.layers: dict[Material, Layers] = defaultdict(dict)
        self.events: list[Event] = []

    # ---- May it happen? --------------------------------------------------------------------------

    def may_take(
        self, kind: str, to: Place, wanted: Sequence[tuple[Lot, Fraction]], day: int
    ) -> bool:
        """Whether goods may be taken out of the store."""
        return self.may_leave(STORE, wanted, day)

    def may_leave(self, place: Place, wanted: Iterable[tuple[Lot, Fraction]], day: int) -> bool:
        """Whether there is as much, that day and at the end of every later one."""
        leaving: dict[Lot, Fraction] = defaultdict(Fraction)
        for lot, quantity in wanted:
            leaving[lot] -= quantity
        return all(self._stays_above([(place, lot, q, day)]) for lot, q in leaving.items())

    def may_undo(self, event: Event, day: int) -> bool:
        """Whether exactly what it did can be taken back."""
        if any(not back.undone for back in event.returns):
            return False
        after: dict[Key, list[Fraction]] = {}
        for line in event.lines:
            q, v = after.setdefault((line.place, line.lot), list(self.held[line.place, line.lot]))
            after[line.place, line.lot] = [q - line.quantity, v - line.value]
        for (place, _), (q, v) in after.items():
            if holds_goods(place) and q < 0:
                return False
            if place.startswith(BATCH) and (v < 0 or (q == 0 and v != 0)):
                return False
        for q, v in self._layers_after_undoing(event).values():
            if q < 0 or v < 0 or (q == 0 and v != 0):
                return False
        taken: dict[Key, Fraction] = defaultdict(Fraction)
        for line in event.lines:
            taken[line.place, line.lot] -= line.quantity
        return self._stays_above([(place, lot, q, day) for (place, lot), q in taken.items()])

    def _stays_above(self, moves: Sequence[tuple[Place, Lot | None, Fraction, int]]) -> bool:
        for place, lot, quantity, day in moves:
            if not holds_goods(place) or quantity >= 0:
                continue
            moved = [*self.moved[place, lot], (day, quantity)]
            for end in {on for on, _ in moved if on >= day}:
                if sum(q for on, q in moved if on <= end) < 0:
                    return False
        return True

    # ---- What comes of it ------------------------------------------------------------------------

    def receive(self, lot: Lot, quantity: Fraction, value: Fraction, day: int) -> Event:
        """Goods come into the store at a value that is known."""
        event = Event("receipt", day)
        self._shift(event, "opening", lot, -quantity, -value)
        self._shift(event, STORE, lot, quantity, value)
        self._give(event, lot, self._layer_for(lot), quantity, value)
        return self._done(event)

    def take(
        self,
        to: Place,
        lines: Sequence[tuple[Lot, Fraction]],
        values: Sequence[Fraction],
        day: int,
    ) -> Event:
        """Goods leave the store at what the cost formula says."""
        event = Event("sale" if to == "sales" else "take", day)
        for (lot, quantity), value in zip(lines, values, strict=True):
            self._cost(event, lot, quantity, value)
            self._shift(event, STORE, lot, -quantity, -value)
            self._shift(event, to, lot, quantity, value)
        return self._done(event)

    def put_back(
        self, place: Place, lot: Lot, quantity: Fraction, value: Fraction, day: int
    ) -> Event:
        """Goods come back from a batch, at their share of what lies there."""
        held, worth = self.held[place, lot]
        near(value, worth * quantity / held, whole=quantity == held)
        event = Event("weigh_back", day)
        self._shift(event, place, lot, -quantity, -value)
        self._shift(event, STORE, lot, quantity, value)
        self._give(event, lot, self._layer_for(lot), quantity, value)
        return self._done(event)

    def still_sold(self, sale: Event, lot: Lot) -> tuple[Fraction, Fraction]:
        """Quantity and value that a sale sold of a lot and nobody brought back."""
        if sale.undone:
            return ZERO, ZERO
        live = [sale, *(back for back in sale.returns if not back.undone)]
        lines = [x for e in live for x in e.lines if x.place == "sales" and x.lot == lot]
        return sum((x.quantity for x in lines), ZERO), sum((x.value for x in lines), ZERO)

    def bring_back(
        self, sale: Event, lot: Lot, quantity: Fraction, value: Fraction, day: int
    ) -> Event:
        """A customer brings goods back, at their share of what that sale cost."""
        sold, worth = self.still_sold(sale, lot)
        near(value, worth * quantity / sold, whole=quantity == sold)
        event = Event("customer_return", day, sale=sale)
        sale.returns.append(event)
        self._shift(event, "sales", lot, -quantity, -value)
        self._shift(event, STORE, lot, quantity, value)
        self._give(event, lot, self._layer_for(lot), quantity, value)
        return self._done(event)

    def undo(self, event: Event, day: int) -> None:
        """Exactly what it did is taken back."""
        for line in event.lines:
            held = self.held[line.place, line.lot]
            held[0] -= line.quantity
            held[1] -= line.value
            self.moved[line.place, line.lot].append((day, -line.quantity))
        for (material, key), (q, v) in self._layers_after_undoing(event).items():
            self.layers[material][key] = [q, v]
        event.undone = True

    def change_formula(
        self, material: Material, formula: str, found: Mapping[Lot | None, Fraction]
    ) -> None:
        """What is in store keeps its value; only the shape of the layers changes.

        `found` is the value that the ledger gave each layer.
        """
        before, self.formula[material] = self.formula[material], formula
        if before == formula or (before, formula) == ("lot", "fifo"):
            return
        layers = self.layers[material]
        quantity = sum((q for q, _ in layers.values()), ZERO)
        value = sum((v for _, v in layers.values()), ZERO)
        lots = sorted(
            lot
            for (place, lot), (q, _) in self.held.items()
            if lot is not None and place == STORE and q > 0 and self.material[lot] == material
        )
        wanted: dict[Lot | None, Fraction] = {lot: self.held[STORE, lot][0] for lot in lots}
        if formula == "average":
            wanted = {None: quantity} if quantity else {}
        for key in layers:
            layers[key] = [ZERO, ZERO]
        for key, part in wanted.items():
            near(found[key], value * part / quantity)
            layers[key] = [part, found[key]]
        if sum((v for _, v in layers.values()), ZERO) != value:
            raise Wrong("A change of cost formula changed the value.")

    def total(self) -> tuple[Fraction, Fraction]:
        """All quantity and value everywhere, which must be nothing."""
        return (
            sum((q for q, _ in self.held.values()), ZERO),
            sum((v for _, v in self.held.values()), ZERO),
        )

    # ---- Layers ----------------------------------------------------------------------------------

    def _layer_for(self, lot: Lot) -> Lot | None:
        return None if self.formula[self.material[lot]] == "average" else lot

    def _give(
        self, event: Event, lot: Lot, key: Lot | None, quantity: Fraction, value: Fraction
    ) -> None:
        layer = self.layers[self.material[lot]].setdefault(key, [ZERO, ZERO])
        layer[0] += quantity
        layer[1] += value
        event.layers.append((lot, key, quantity, value))

    def _cost(self, event: Event, lot: Lot, quantity: Fraction, value: Fraction) -> None:
        """Takes a draw from the layers: what is used up whole takes all its value with it."""
        material = self.material[lot]
        queue = list(self.layers[material])
        if self.formula[material] != "fifo":
            queue = [self._layer_for(lot)]
        pieces: list[tuple[Lot | None, Fraction, Fraction]] = []
        rest, ends_whole = quantity, True
        for key in queue:
            there, worth = self.layers[material][key]
            part = min(rest, there)
            if part > 0:
                pieces.append((key, part, worth * part / there))
                rest -= part
                ends_whole = part == there
        if rest:
            raise Wrong(f"{rest} of {lot} is in store but in no layer.")
        near(value, sum((share for *_, share in pieces), ZERO), whole=ends_whole)
        for key, part, share in pieces[:-1]:
            self._give(event, lot, key, -part, -share)
            value -= share
        if pieces:
            self._give(event, lot, pieces[-1][0], -pieces[-1][1], -value)

    def _layers_after_undoing(
        self, event: Event
    ) -> dict[tuple[Material, Lot | None], list[Fraction]]:
        """To the layer it came from; where the formula has changed since, to today's."""
        after: dict[tuple[Material, Lot | None], list[Fraction]] = {}
        for lot, came_from, quantity, value in event.layers:
            material = self.material[lot]
            key = {"average": None, "lot": lot, "fifo": came_from or lot}[self.formula[material]]
            there = list(self.layers[material].get(key, [ZERO, ZERO]))
            q, v = after.setdefault((material, key), there)
            after[material, key] = [q - quantity, v - value]
        return after

    def _shift(
        self, event: Event, place: Place, lot: Lot | None, quantity: Fraction, value: Fraction
    ) -> None:
        held = self.held[place, lot]
        held[0] += quantity
        held[1] += value
        event.lines.append(Line(place, lot, quantity, value))

    def _done(self, event: Event) -> Event:
        for line in event.lines:
            self.moved[line.place, line.lot].append((event.day, line.quantity))
        self.events.append(event)
        return event


def near(found: Fraction, exact: Fraction, *, whole: bool = False) -> None:
    """Within two millionths of the exact share, and equal where it is a whole.

    A stretch is rounded at both ends, and what was left before had been rounded, too.
    """
    if abs(found - exact) > (0 if whole else 2 * MILLIONTH):
        raise Wrong(f"The ledger says {found}, the definition {exact}.")
