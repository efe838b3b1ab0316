"""Random events of the ledger against the definitions in exact fractions.

Hypothesis tells the story and, where the ledger and the oracle part, the shortest one. After every
few events all holdings and layers must be equal to the last digit, and at the end nothing is lost:
all accounts together hold zero of every lot and of value, and the ledger's own proof agrees.

What batches add to it (planning, weighing, finishing, filling) is told by a machine of their own
that begins where this one ends.
"""

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db import connection
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from ledger.access import acting_as
from ledger.entries import Posted
from ledger.errors import AlreadyReversed, Invalid, NotEnough, UsedSince
from ledger.issuing import Taken, take_back
from ledger.models import Lot, Material
from ledger.quantities import Quantity
from tests.ledger.books import Books, ago
from tests.stateful.oracle import BATCH, STORE, ZERO, Event, Oracle
from tests.stateful.telling import DONE, done_or_refused, happened, told

FORMULAS = ["average", "fifo", "lot"]
STORIES = 185
DAYS = st.sampled_from([0, 0, 0, 1, 2, 4, 8])
PARTS = st.one_of(st.integers(1, 99), st.sampled_from([100, 100, 101]))
MICROS = st.one_of(st.integers(1, 10**10), st.sampled_from([1, 3, 7, 10**6, 10**9]))
RAW = f"{BATCH}B1"

PLACE = "case a.kind when 'batch' then 'batch ' || a.name else a.kind end"
HELD = f"""
select {PLACE}, h.lot_id::text, h.quantity, h.value from ledger_holding h
  join ledger_account a on a.id = h.account_id
union all
select a.kind, null, sum(p.quantity), sum(p.value) from ledger_posting p
  join ledger_account a on a.id = p.account_id where p.lot_id is null group by a.kind
"""
LAYERS = """
select material_id::text, lot_id::text, quantity, value from ledger_layer where quantity > 0
  order by material_id, ordinal
"""


def decimal(value: Fraction) -> Decimal:
    """A whole number of millionths as it is posted."""
    return Decimal(int(value * 10**6)).scaleb(-6)


class BooksMachine(RuleBasedStateMachine):
    """Two materials of one class, a store, a batch, customers and mistakes."""

    oracle: Oracle
    REFUSALS: tuple[type[Exception], ...] = (NotEnough, UsedSince, AlreadyReversed, Invalid)

    @initialize(first=st.sampled_from(FORMULAS), second=st.sampled_from(FORMULAS))
    def open(self, first: str, second: str) -> None:
        self._open(Oracle(), first, second)

    def _open(self, oracle: Oracle, first: str, second: str) -> None:
        self.books = Books(first)
        self.batch = self.books.batch()
        self.oracle = oracle
        other = self.books.bench.material(cost_formula=second)
        self.materials: list[Material] = [self.books.material, other]
        for material, formula in zip(self.materials, (first, second), strict=True):
            self.oracle.formula[str(material.id)] = formula
        self.lots: list[Lot] = []
        self.told: list[tuple[Event, Any]] = []

    # ---- Goods come in ---------------------------------------------------------------------------

    @rule(
        which=st.integers(0, 1),
        again=st.booleans(),
        pick=st.integers(0),
        grams=MICROS,
        value=st.integers(0, 10**9),
        days=DAYS,
    )
    def receive_goods(
        self, which: int, again: bool, pick: int, grams: int, value: int, days: int
    ) -> None:
        """A new lot, or more of one that is there."""
        if not (again and self.lots):
            lot = self.books.lot(material=self.materials[which])
            self.lots.append(lot)
            self.oracle.material[str(lot.id)] = str(lot.material_id)
            pick = -1
        self._receive(self.lots[pick % len(self.lots)], grams, value, days)

    def _receive(self, lot: Lot, micros: int, value: int, days: int) -> None:
        amount = Fraction(micros % 500 + 1) if lot.material.counted else Fraction(micros, 10**6)
        worth = Fraction(value, 10**6)
        entry = self.books.put(lot, str(decimal(amount)), str(decimal(worth)), on=ago(days))
        self.told.append((self.oracle.receive(str(lot.id), amount, worth, -days), entry))
        DONE["receive"] += 1

    def _part(self, lot: Lot, whole: Fraction, percent: int) -> Fraction:
        """So many percent, in millionths or in pieces, and more than nothing."""
        if lot.material.counted:
            return Fraction(max(int(whole * percent / 100), 1))
        return Fraction(int(whole * percent * 10**4), 10**6) or Fraction(1, 10**6)

    def _typed(self, lot: Lot, amount: Fraction) -> Quantity:
        exact = decimal(amount)
        if lot.material.counted:
            return Quantity(f"{exact.normalize():f} each", "count", exact)
        return Quantity(f"{exact} g", "mass", exact)

    # ---- Goods go out ----------------------------------------------------------------------------

    @precondition(lambda self: self.lots)
    @rule(
        wanted=st.lists(st.tuples(st.integers(0), PARTS), min_size=1, max_size=3),
        to=st.sampled_from(["loss", "sales", "batch", "batch"]),
        days=DAYS,
    )
    def take_goods(self, wanted: list[tuple[int, int]], to: str, days: int) -> None:
        self._take(wanted, to, days)

    def _take(self, wanted: list[tuple[int, int]], to: str, days: int) -> None:
        lines: list[tuple[Lot, Fraction]] = []
        for pick, percent in wanted:
            stored = [lot for lot in self.lots if self.oracle.held[STORE, str(lot.id)][0] > 0]
            lots = stored if stored and pick % 8 else self.lots
            lot = lots[-1 - pick // 8 % len(lots)]
            held = self.oracle.held[STORE, str(lot.id)][0]
            lines.append((lot, self._part(lot, held, percent)))
        place = self.batch if to == "batch" else to
        kind = {"loss": "issue", "sales": "sale", "batch": "draw"}[to]
        moves = [self.books.move(STORE, place, lot, str(decimal(q))) for lot, q in lines]
        named = [(str(lot.id), q) for lot, q in lines]
        goes = RAW if to == "batch" else to
        posted = self._may(
            "take",
            self.oracle.may_take(kind, goes, named, -days),
            lambda: self.books.post(*moves, kind=kind, on=ago(days)),
        )
        if posted:
            values = [Fraction(value) for value in posted.values]
            event = self.oracle.take(goes, named, values, -days)
            self.told.append((event, posted.entry_id))

    @precondition(lambda self: self._in_batch())
    @rule(pick=st.integers(0), percent=PARTS, days=DAYS)
    def weigh_back(self, pick: int, percent: int, days: int) -> None:
        lot = self._in_batch()[pick % len(self._in_batch())]
        grams = self._part(lot, self.oracle.held[RAW, str(lot.id)][0], percent)
        move = self.books.move(self.batch, STORE, lot, str(decimal(grams)))
        posted = self._may(
            "return",
            self.oracle.may_leave(RAW, [(str(lot.id), grams)], -days),
            lambda: self.books.post(move, kind="weigh_back", on=ago(days)),
        )
        if posted:
            value = Fraction(posted.values[0])
            event = self.oracle.put_back(RAW, str(lot.id), grams, value, -days)
            self.told.append((event, posted.entry_id))

    def _in_batch(self) -> list[Lot]:
        return [lot for lot in self.lots if self.oracle.held[RAW, str(lot.id)][0] > 0]

    @precondition(lambda self: self._sales())
    @rule(pick=st.integers(0), percent=PARTS, days=DAYS)
    def bring_back(self, pick: int, percent: int, days: int) -> None:
        sale, entry = self._sales()[pick % len(self._sales())]
        name = str(sale.lines[pick % len(sale.lines)].lot)
        lot = next(lot for lot in self.lots if str(lot.id) == name)
        sold = self.oracle.still_sold(sale, name)[0]
        grams = self._part(lot, sold, percent)
        taken = Taken(name, self._typed(lot, grams))

        def work() -> Posted:
            with acting_as(self.books.actor):
                return take_back(
                    self.books.actor, sale=entry, lines=[taken], reason="", happened_at=ago(days)
                ).posted

        posted = self._may("bring back", grams <= sold and -days >= sale.day, work)
        if posted:
            value = Fraction(posted.values[0])
            self.told.append(
                (self.oracle.bring_back(sale, name, grams, value, -days), posted.entry_id)
            )

    def _sales(self) -> list[tuple[Event, Any]]:
        return [told for told in self.told if told[0].kind == "sale"]

    # ---- Mistakes and new rules ------------------------------------------------------------------

    @precondition(lambda self: self.told)
    @rule(pick=st.one_of(st.integers(0, 15), st.integers(0)), days=DAYS)
    def undo(self, pick: int, days: int) -> None:
        # The latest first: what has just been typed is what is mostly wrong.
        told = [one for one in self.told if pick % 4 == 0 or one[0].kind != "receipt"] or self.told
        self._undo(*told[-1 - pick // 4 % len(told)], days)

    def _undo(self, event: Event, entry: Any, days: int) -> None:
        days = min(days, -event.day)
        allowed = not event.undone and self.oracle.may_undo(event, -days)
        if self._may(f"undo {event.kind}", allowed, lambda: self._reverse(entry, days)):
            self.oracle.undo(event, -days)

    def _reverse(self, entry: Any, days: int) -> Any:
        return self.books.reverse(entry, on=ago(days))

    @precondition(lambda self: self.lots and len(self.told) % 4 == 0)
    @rule(formula=st.sampled_from(FORMULAS))
    def choose_formula(self, formula: str) -> None:
        self.books.choose(formula)
        for material in self.materials:
            # A formula is kept with the first goods; before, the maker's choice stands by itself.
            found = {
                None if lot is None else str(lot): Fraction(value)
                for lot, _, value in self.books.layers(material)
            }
            self.oracle.change_formula(str(material.id), formula, found)
        DONE["choose formula"] += 1

    # ---- Together --------------------------------------------------------------------------------

    def _may(self, what: str, allowed: bool, work: Callable[[], Any]) -> Any:
        return done_or_refused(what, allowed, work, self.REFUSALS)

    def compare(self) -> None:
        """All that the ledger keeps is what the definitions say."""
        with acting_as(self.books.actor), connection.cursor() as cursor:
            cursor.execute(HELD)
            held = {(kind, lot): [Fraction(q), Fraction(v)] for kind, lot, q, v in cursor}
            cursor.execute(LAYERS)
            layers: dict[str, list[Any]] = {str(m.id): [] for m in self.materials}
            for material, lot, q, v in cursor:
                layers[material].append((lot, Fraction(q), Fraction(v)))
        assert held == {key: value for key, value in self.oracle.held.items() if key in held}
        assert all(value == [0, 0] for key, value in self.oracle.held.items() if key not in held)
        for name, found in layers.items():
            left = [(k, q, v) for k, (q, v) in self.oracle.layers[name].items() if q > 0]
            assert found == left
        assert self.oracle.total() == (ZERO, ZERO)

    @invariant()
    def agrees(self) -> None:
        if hasattr(self, "told") and happened() % 8 == 0:
            self.compare()

    def teardown(self) -> None:
        if hasattr(self, "told"):
            self.compare()
            assert self.books.disagreements() == []


TestBooks = told(BooksMachine, STORIES)
