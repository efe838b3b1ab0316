"""Random batches against the definitions in exact fractions.

An intermediate goes into a lotion, which stays bulk, or is filled at once, or later. Bottles and
caps are drawn with the units, samples are issued, losses are declared, and everything may be
undone in any order that leaves nothing below zero.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db import connection
from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from formulas.drawing import Sample
from formulas.filling import Filled, fill
from formulas.finishing import Finished, finish
from formulas.models import Batch
from formulas.outcomes import AbnormalLoss
from formulas.planning import Planned
from formulas.undoing import undo
from ledger.access import acting_as
from ledger.models import Lot, Reservation
from tests.ledger.books import ago
from tests.stateful.batch_machine import BENCH_DAYS, MOST_OPEN, WISHES, BatchMachine, Wish
from tests.stateful.making_oracle import Outcome
from tests.stateful.oracle import MILLIONTH, STORE, ZERO, Event, Line
from tests.stateful.plans import Plan
from tests.stateful.telling import told
from tests.stateful.test_books import PARTS, PLACE

STORIES = 60
POSTED = f"""
select {PLACE}, p.lot_id::text, p.quantity, p.value from ledger_posting p
  join ledger_account a on a.id = p.account_id where p.entry_id = %s order by p.line
"""
SAMPLES = st.sampled_from([[], [], [1], [2], [1, 3]])
RELEASED = st.sampled_from([*["looks and smells right"] * 3, None])


@dataclass(frozen=True)
class Ending:
    """How a batch ends: so many percent of what was weighed come out, and so many were lost.

    Zero units are bulk, and without a number it is as many as planned.
    """

    percent: int
    lost: int
    units: int | None
    samples: list[int]
    release: str | None
    days: int


ENDINGS = st.builds(
    Ending,
    percent=st.one_of(st.integers(60, 101), PARTS),
    lost=st.sampled_from([0, 0, 0, 1, 7, 30]),
    units=st.sampled_from([0, None, None, 1, 7, 40]),
    samples=SAMPLES,
    release=RELEASED,
    days=BENCH_DAYS,
)


@dataclass(frozen=True)
class Filling:
    """How many units are filled, and how many percent beyond what they should hold were used."""

    units: int
    over: int | None
    samples: list[int]
    release: str | None
    days: int
    deviation: str


FILLINGS = st.builds(
    Filling,
    units=st.sampled_from([1, 2, 3, 5, 20]),
    over=st.sampled_from([None, None, 0, 3, 50]),
    samples=SAMPLES,
    release=RELEASED,
    days=BENCH_DAYS,
    deviation=st.sampled_from(["", "", "tested by hand"]),
)


class MakingMachine(BatchMachine):
    """Batches that are finished, filled and undone."""

    @precondition(lambda self: self.planned)
    @rule(pick=st.integers(0), ending=ENDINGS)
    def finish(self, pick: int, ending: Ending) -> None:
        self._finish(*self._batch(pick), ending)

    @precondition(lambda self: len(self._open_plans()) < MOST_OPEN)
    @rule(wish=WISHES, ending=ENDINGS, filling=FILLINGS, fills=st.booleans())
    def make(self, wish: Wish, ending: Ending, filling: Filling, fills: bool) -> None:
        """From the plan to the finish, and mostly to the fill, without a break."""
        plan, planned = self._plan(wish)
        self._weigh_all(plan, planned, 0)
        self._finish(plan, planned, ending)
        if fills and self.lots[-1] in self._bulk():
            self._fill(self.lots[-1], filling)

    def _finish(self, plan: Plan, planned: Planned, ending: Ending) -> None:
        weighed = sum((q for q, _ in self.oracle.lying_in(plan.place).values()), ZERO)
        inputs = [self.oracle.status[lot] for lot in self.oracle.lying_in(plan.place)]
        filled, days, release = None, ending.days, ending.release
        if plan.ware is not None and ending.units != 0:
            filled = ending.units or planned.batch.units
        output = Fraction(int(weighed * ending.percent * 10**4), 10**6) or Fraction(1)
        unit = output / 200 if filled is None else Fraction(1)
        outcome = Outcome(
            output,
            filled,
            Fraction(int(weighed * ending.lost * 10**4), 10**6),
            [Fraction(int(unit * n * 10**6), 10**6) or MILLIONTH for n in ending.samples],
        )
        finished: Finished | None = self._may(
            "finish",
            self.oracle.may_finish(plan, outcome, -days),
            lambda: self.shelf.shop.does(
                finish,
                batch=planned.batch.id,
                output=self.shelf.mass(output),
                units=filled,
                samples=self._samples(outcome),
                abnormal_loss=AbnormalLoss(self.shelf.mass(outcome.declared), "spilt")
                if outcome.declared
                else None,
                release_basis=release,
                happened_at=ago(days),
            ),
        )
        if finished:
            making = finished.making
            posted = self._posted(making.entry_id)
            event = self.oracle.finish(plan, outcome, str(finished.lot.id), posted, -days)
            self._made(event, making, finished.lot, release, outcome, days)
            if {"hold", "rejected"} & set(inputs):
                self.oracle.status[str(finished.lot.id)] = "hold"
            self.oracle.check_cost(plan, event, outcome, finished.cost, finished.yielded)

    @precondition(lambda self: self._bulk())
    @rule(of=st.integers(0), filling=FILLINGS)
    def fill(self, of: int, filling: Filling) -> None:
        self._fill(self._bulk()[-1 - of % len(self._bulk())], filling)

    def _fill(self, bulk: Lot, filling: Filling) -> None:
        ware, over, days = self.shelf.ware, filling.over, filling.days
        deviation, release, units = filling.deviation, filling.release, filling.units
        if units < 20:
            units = min(units, int(self.oracle.held[STORE, str(bulk.id)][0] / ware.fill))
        used = ware.fill * units
        if over is not None:
            used = Fraction(int(used * (100 + over) * 10**4), 10**6)
        outcome = Outcome(used, units, ZERO, [Fraction(n) for n in filling.samples])
        filled: Filled | None = self._may(
            "fill",
            self.oracle.may_fill(ware, str(bulk.id), used, outcome, -days, deviation),
            lambda: self.shelf.shop.does(
                fill,
                product=self.shelf.product.id,
                lot=bulk.id,
                units=units,
                used=None if over is None else self.shelf.mass(used),
                samples=self._samples(outcome),
                release_basis=release,
                happened_at=ago(days),
                deviation=deviation,
            ),
        )
        if filled:
            row = filled.filling
            posted = self._posted(row.entry_id)
            event = self.oracle.fill(
                ware, str(bulk.id), used, outcome, str(filled.lot.id), posted, -days
            )
            self._made(event, row, filled.lot, release, outcome, days)
            assert row.nominal_grams == ware.fill * units
            assert filled.total == self.oracle.made_at(event)

    def _bulk(self) -> list[Lot]:
        """Lots of the lotion of which a unit can be filled."""
        made, least = self.shelf.formulas[1][1].formula.material_id, self.shelf.ware.fill
        return [
            lot
            for lot in self.lots
            if lot.material_id == made and self.oracle.held[STORE, str(lot.id)][0] >= least
        ]

    def _made(
        self,
        event: Event,
        row: Any,
        lot: Lot,
        release: str | None,
        outcome: Outcome,
        days: int,
    ) -> None:
        """The lot that was made, its dates, and the samples that were issued of it."""
        name = str(lot.id)
        last = self.oracle.last_day[name]
        found = None if lot.expires_on is None else (lot.expires_on - self.today).days
        assert found == last
        self._know(lot, "quarantine" if release is None else "released", last)
        self.told.append((event, row.entry_id))
        assert (row.samples_entry_id is None) == (not outcome.samples)
        if outcome.samples:
            issued = self._posted(row.samples_entry_id)
            values = [line.value for line in issued if line.place == "issue"]
            lines = [(name, quantity) for quantity in outcome.samples]
            event.samples = self.oracle.take("issue", lines, values, -days)
            self.told.append((event.samples, row.samples_entry_id))

    def _samples(self, outcome: Outcome) -> list[Sample]:
        typed = self.shelf.mass if outcome.units is None else self.shelf.pieces
        return [Sample(typed(quantity), "retained") for quantity in outcome.samples]

    def _posted(self, entry: UUID) -> Sequence[Line]:
        with acting_as(self.books.actor), connection.cursor() as cursor:
            cursor.execute(POSTED, [entry])
            return [Line(place, lot, Fraction(q), Fraction(v)) for place, lot, q, v in cursor]

    # ---- Mistakes --------------------------------------------------------------------------------

    @precondition(lambda self: self._endings())
    @rule(pick=st.integers(0), days=BENCH_DAYS)
    def undo_an_ending(self, pick: int, days: int) -> None:
        """What ended a batch, or filled a lot, is what most hangs on."""
        self._undo(*self._endings()[-1 - pick % len(self._endings())], days)

    def _endings(self) -> list[tuple[Event, Any]]:
        return [
            one
            for one in self.told
            if one[0].kind in ("make", "fill", "cancel") and not one[0].undone
        ]

    def _reverse(self, entry: Any, days: int) -> Any:
        return self.shelf.shop.does(
            undo, entry=entry, reason="typed wrongly", happened_at=ago(days)
        )

    def compare(self) -> None:
        """The promises and the states of batches, too, are what the definitions say."""
        super().compare()
        with acting_as(self.books.actor):
            reserved = {
                (str(row.account_id), str(row.lot_id)): Fraction(row.quantity)
                for row in Reservation.objects.filter(quantity__gt=0)
            }
            states = dict(Batch.objects.values_list("code", "state"))
        accounts = {plan.place: str(planned.batch.account_id) for plan, planned in self.planned}
        assert reserved == {
            (accounts[place], lot): q for (place, lot), q in self.oracle.reserved.items() if q > 0
        }
        assert states == {planned.batch.code: plan.state for plan, planned in self.planned}


TestBatches = told(MakingMachine, STORIES)
