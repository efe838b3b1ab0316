"""Ten thousand random events against the definitions in exact fractions.

Hypothesis tells the story and, where the ledger and the oracle part, the shortest one. After every
few events all holdings and layers must be equal to the last digit, and at the end nothing is lost:
all accounts together hold zero of every lot and of value, and the ledger's own proof agrees.

Events of batches (weighing, finishing, filling) are told by the rules of a machine of their own
that begins where this one ends: subclass `BooksMachine`, which has a batch to pour into, and add
to the oracle what comes of them.
"""

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from django.db import connection
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from ledger.access import acting_as
from ledger.entries import Posted
from ledger.errors import AlreadyReversed, NotEnough, UsedSince
from ledger.issuing import Taken, take_back
from ledger.models import Lot, Material
from ledger.quantities import Quantity
from tests.ledger.books import Books, ago
from tests.stateful.oracle import STORE, ZERO, Event, Oracle

pytestmark = pytest.mark.usefixtures("database")
FORMULAS = ["average", "fifo", "lot"]
EXAMPLES, STEPS = 240, 50
DAYS = st.sampled_from([0, 0, 0, 1, 2, 4, 8])
PARTS = st.one_of(st.integers(1, 99), st.sampled_from([100, 100, 101]))
MICROS = st.one_of(st.integers(1, 10**10), st.sampled_from([1, 3, 7, 10**6, 10**9]))
EVENTS_TOLD = {"done": 0, "refused": 0}

HELD = """
select a.kind, h.lot_id::text, h.quantity, h.value from ledger_holding h
  join ledger_account a on a.id = h.account_id
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

    @initialize(first=st.sampled_from(FORMULAS), second=st.sampled_from(FORMULAS))
    def open(self, first: str, second: str) -> None:
        with connection.cursor() as cursor:
            # What is proved here is not that a power cut loses nothing.
            cursor.execute("set synchronous_commit = off")
        self.books = Books(first)
        self.batch = self.books.batch()
        self.oracle = Oracle()
        other = self.books.bench.material(cost_formula=second)
        self.materials: list[Material] = [self.books.material, other]
        for material, formula in zip(self.materials, (first, second), strict=True):
            self.oracle.formula[str(material.id)] = formula
        self.lots: list[Lot] = []
        self.told: list[tuple[Event, Any]] = []

    # ---- Goods come in ---------------------------------------------------------------------------

    @rule(which=st.integers(0, 1), grams=MICROS, value=st.integers(0, 10**9), days=DAYS)
    def receive_a_new_lot(self, which: int, grams: int, value: int, days: int) -> None:
        lot = self.books.lot(material=self.materials[which])
        self.lots.append(lot)
        self.oracle.material[str(lot.id)] = str(lot.material_id)
        self._receive(lot, Fraction(grams, 10**6), Fraction(value, 10**6), days)

    @precondition(lambda self: self.lots)
    @rule(pick=st.integers(0), grams=MICROS, value=st.integers(0, 10**9), days=DAYS)
    def receive_more_of_a_lot(self, pick: int, grams: int, value: int, days: int) -> None:
        lot = self.lots[pick % len(self.lots)]
        self._receive(lot, Fraction(grams, 10**6), Fraction(value, 10**6), days)

    def _receive(self, lot: Lot, grams: Fraction, value: Fraction, days: int) -> None:
        entry = self.books.put(lot, str(decimal(grams)), str(decimal(value)), on=ago(days))
        self.told.append((self.oracle.receive(str(lot.id), grams, value, -days), entry))
        self._happened()

    # ---- Goods go out ----------------------------------------------------------------------------

    @precondition(lambda self: self.lots)
    @rule(
        wanted=st.lists(st.tuples(st.integers(0), PARTS), min_size=1, max_size=3),
        to=st.sampled_from(["loss", "sales", "batch", "batch"]),
        days=DAYS,
    )
    def take_goods(self, wanted: list[tuple[int, int]], to: str, days: int) -> None:
        lines: list[tuple[Lot, Fraction]] = []
        for pick, percent in wanted:
            lot = self.lots[pick % len(self.lots)]
            held = self.oracle.held[STORE, str(lot.id)][0]
            grams = Fraction(int(held * percent * 10**4), 10**6)
            lines.append((lot, grams or Fraction(1, 10**6)))
        place = self.batch if to == "batch" else to
        kind = {"loss": "issue", "sales": "sale", "batch": "draw"}[to]
        moves = [self.books.move(STORE, place, lot, str(decimal(q))) for lot, q in lines]
        named = [(str(lot.id), q) for lot, q in lines]
        posted = self._may(
            self.oracle.may_leave(STORE, named, -days),
            lambda: self.books.post(*moves, kind=kind, on=ago(days)),
        )
        if posted:
            values = [Fraction(value) for value in posted.values]
            event = self.oracle.take(to, named, values, -days)
            self.told.append((event, posted.entry_id))

    @precondition(lambda self: self._in_batch())
    @rule(pick=st.integers(0), percent=PARTS, days=DAYS)
    def weigh_back(self, pick: int, percent: int, days: int) -> None:
        lot = self._in_batch()[pick % len(self._in_batch())]
        held = self.oracle.held["batch", str(lot.id)][0]
        grams = Fraction(int(held * percent * 10**4), 10**6) or Fraction(1, 10**6)
        move = self.books.move(self.batch, STORE, lot, str(decimal(grams)))
        posted = self._may(
            self.oracle.may_leave("batch", [(str(lot.id), grams)], -days),
            lambda: self.books.post(move, kind="weigh_back", on=ago(days)),
        )
        if posted:
            value = Fraction(posted.values[0])
            event = self.oracle.put_back("batch", str(lot.id), grams, value, -days)
            self.told.append((event, posted.entry_id))

    def _in_batch(self) -> list[Lot]:
        return [lot for lot in self.lots if self.oracle.held["batch", str(lot.id)][0] > 0]

    @precondition(lambda self: self._sales())
    @rule(pick=st.integers(0), percent=PARTS, days=DAYS)
    def bring_back(self, pick: int, percent: int, days: int) -> None:
        sale, entry = self._sales()[pick % len(self._sales())]
        name = sale.lines[pick % len(sale.lines)].lot
        sold = self.oracle.still_sold(sale, name)[0]
        grams = Fraction(int(sold * percent * 10**4), 10**6) or Fraction(1, 10**6)
        amount = decimal(grams)
        taken = Taken(name, Quantity(f"{amount} g", "mass", amount))

        def work() -> Posted:
            with acting_as(self.books.actor):
                return take_back(
                    self.books.actor, sale=entry, lines=[taken], reason="", happened_at=ago(days)
                ).posted

        posted = self._may(grams <= sold, work)
        if posted:
            value = Fraction(posted.values[0])
            self.told.append(
                (self.oracle.bring_back(sale, name, grams, value, -days), posted.entry_id)
            )

    def _sales(self) -> list[tuple[Event, Any]]:
        return [told for told in self.told if told[0].kind == "sale"]

    # ---- Mistakes and new rules ------------------------------------------------------------------

    @precondition(lambda self: self.told)
    @rule(pick=st.integers(0), days=DAYS)
    def undo(self, pick: int, days: int) -> None:
        # The latest first: what has just been typed is what is mostly wrong.
        event, entry = self.told[-1 - pick % len(self.told)]
        days = min(days, -event.day)
        allowed = not event.undone and self.oracle.may_undo(event, -days)
        if self._may(allowed, lambda: self.books.reverse(entry, on=ago(days))):
            self.oracle.undo(event, -days)

    @precondition(lambda self: self.lots)
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
        self._happened()

    # ---- Together --------------------------------------------------------------------------------

    def _may(self, allowed: bool, work: Callable[[], Any]) -> Any:
        """What the work gives, where it is allowed; else it is refused, and nothing happens."""
        if allowed:
            done = work()
            self._happened()
            return done
        with pytest.raises((NotEnough, UsedSince, AlreadyReversed)):
            work()
        EVENTS_TOLD["refused"] += 1
        return None

    def _happened(self) -> None:
        EVENTS_TOLD["done"] += 1

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
        if hasattr(self, "told") and sum(EVENTS_TOLD.values()) % 8 == 0:
            self.compare()

    def teardown(self) -> None:
        if hasattr(self, "told"):
            self.compare()
            assert self.books.disagreements() == []
        with connection.cursor() as cursor:
            cursor.execute("reset synchronous_commit")


TestBooks = BooksMachine.TestCase
TestBooks.settings = settings(
    max_examples=EXAMPLES,
    stateful_step_count=STEPS,
    deadline=None,
    print_blob=True,
    suppress_health_check=list(HealthCheck),
)
TestBooks = pytest.mark.usefixtures("database")(TestBooks)


def test_enough_was_told() -> None:
    """About ten thousand events were told by the machine above, with refusals among them."""
    if not EVENTS_TOLD["done"]:
        pytest.skip("The machine has not run.")
    assert sum(EVENTS_TOLD.values()) > EXAMPLES * STEPS * 3 // 4, EVENTS_TOLD
    assert EVENTS_TOLD["refused"] > EXAMPLES, EVENTS_TOLD
