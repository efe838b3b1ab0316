"""Random plans and weighings: the ledger's story goes on in batches.

Water is not stocked, an acid is added to effect, one material stands on two lines. Lots have dates
and are held or rejected, and batches compete for the same lots by what they reserved.
"""

from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import initialize, precondition, rule

from formulas.batches import Size, cancel_batch, plan_batch
from formulas.errors import AlreadyFinished, NothingWeighed, OverMaximum
from formulas.planning import Planned
from formulas.weighing import Weighed, weigh, weigh_back
from ledger.errors import LotExpired, LotNotReleased
from ledger.models import Lot
from ledger.quantities import parse_quantity
from tests.ledger.bench import now
from tests.ledger.books import ago
from tests.stateful.making_oracle import MakingOracle
from tests.stateful.oracle import BATCH, STORE, ZERO
from tests.stateful.plans import Plan
from tests.stateful.recipes import Shelf, fill_shelf
from tests.stateful.telling import DONE
from tests.stateful.test_books import (
    DAYS,
    FORMULAS,
    MICROS,
    PARTS,
    BooksMachine,
    decimal,
)

MOST_OPEN = 4
BENCH_DAYS = st.sampled_from([0, 0, 0, 0, 0, 1, 4])
DATES = st.sampled_from([None, None, -3, 0, 2, 10, 40])
DECISIONS = {"release": "released", "hold": "hold", "reject": "rejected"}


@dataclass(frozen=True)
class Wish:
    """A batch that somebody wants: of the one formula, the other, or the product."""

    what: int
    said: str
    grams: int
    units: int
    day: int


WISHES = st.builds(
    Wish,
    what=st.sampled_from([0, 1, 1, 2]),
    said=st.sampled_from(["batch", "output"]),
    grams=st.one_of(st.integers(10**7, 2 * 10**9), st.sampled_from([5 * 10**8, 10**9, 1499999995])),
    units=st.integers(1, 20),
    day=st.sampled_from([0, 0, 0, 1, 5, 40]),
)


class BatchMachine(BooksMachine):
    """Materials, packaging, two formulas, a product, and batches of them."""

    oracle: MakingOracle
    REFUSALS = (
        *BooksMachine.REFUSALS,
        AlreadyFinished,
        NothingWeighed,
        OverMaximum,
        LotNotReleased,
        LotExpired,
    )

    @initialize(
        first=st.sampled_from(FORMULAS),
        second=st.sampled_from(FORMULAS),
        bottles=st.sampled_from(FORMULAS),
    )
    def open(self, first: str, second: str, bottles: str) -> None:
        self._open(MakingOracle(), first, second)
        self.today = now().date()
        self.shelf: Shelf = fill_shelf(self.books, self.oracle, self.materials, bottles)
        self.materials = self.shelf.materials
        self.planned: list[tuple[Plan, Planned]] = []
        for which in range(len(self.shelf.bought)):
            lot = self._new_lot(which, None, "released")
            self._receive(lot, 4 * 10**9 + 299, 10**8 + which, 8)

    # ---- Lots ------------------------------------------------------------------------------------

    @rule(
        which=st.integers(0, 3),
        again=st.sampled_from([False, False, True]),
        pick=st.integers(0),
        grams=MICROS,
        value=st.integers(0, 10**9),
        days=DAYS,
        last=DATES,
        status=st.sampled_from(["released", "released", "released", "quarantine"]),
    )
    def receive_goods(
        self,
        which: int,
        again: bool,
        pick: int,
        grams: int,
        value: int,
        days: int,
        last: int | None,
        status: str,
    ) -> None:
        if again:
            self._receive(self.lots[pick % len(self.lots)], grams, value, days)
        else:
            self._receive(self._new_lot(which, last, status), grams, value, days)

    def _new_lot(self, which: int, last: int | None, status: str) -> Lot:
        until = None if last is None else self.today + timedelta(days=last)
        lot = self.books.lot(material=self.shelf.bought[which], status=status, expires_on=until)
        self._know(lot, status, last)
        return lot

    def _know(self, lot: Lot, status: str, last: int | None) -> None:
        self.lots.append(lot)
        name = str(lot.id)
        self.oracle.material[name] = str(lot.material_id)
        self.oracle.status[name], self.oracle.last_day[name] = status, last

    @rule(
        wanted=st.lists(st.tuples(st.integers(0), PARTS), min_size=1, max_size=2),
        to=st.sampled_from(["loss", "sales"]),
        days=BENCH_DAYS,
    )
    def take_goods(self, wanted: list[tuple[int, int]], to: str, days: int) -> None:
        self._take(wanted, to, days)

    @precondition(lambda self: len(self.told) % 4 == 0)
    @rule(pick=st.integers(0), decision=st.sampled_from(["release", *DECISIONS]))
    def decide(self, pick: int, decision: str) -> None:
        lot = self.lots[-1 - pick % len(self.lots)]
        self.shelf.shop.decide(lot, decision)
        self.oracle.status[str(lot.id)] = DECISIONS[decision]
        DONE["decide"] += 1

    @precondition(lambda self: len(self.told) % 8 == 0)
    @rule(formula=st.sampled_from(FORMULAS), of=st.integers(0))
    def choose_formula(self, formula: str, of: int) -> None:
        classes = sorted({material.cost_class for material in self.shelf.materials})
        chosen = classes[of % len(classes)]
        self.materials = [m for m in self.shelf.materials if m.cost_class == chosen]
        self.books.material = self.materials[0]
        super().choose_formula(formula)
        self.materials = self.shelf.materials

    # ---- Planning --------------------------------------------------------------------------------

    @precondition(lambda self: len(self._open_plans()) < MOST_OPEN)
    @rule(wish=WISHES, weighed=st.booleans())
    def plan(self, wish: Wish, weighed: bool) -> None:
        """Half of the plans are weighed at once."""
        plan, planned = self._plan(wish)
        if weighed:
            self._weigh_all(plan, planned, 0)

    def _plan(self, wish: Wish) -> tuple[Plan, Planned]:
        shelf, planned_for = self.shelf, self.today + timedelta(days=wish.day)
        recipe, version = shelf.formulas[wish.what % 2]
        exact = Fraction(wish.grams, 10**6)
        mass = shelf.mass(exact)
        said: dict[str, Any] = {wish.said: exact}
        facts: dict[str, Any] = {
            "formula": version.formula_id,
            "size": Size(batch=mass) if wish.said == "batch" else Size(output=mass),
        }
        if wish.what == 2:
            recipe, said = shelf.ware.recipe, {"ware": shelf.ware, "units": wish.units}
            facts = {"product": shelf.product.id, "size": Size(units=wish.units)}
        planned = shelf.shop.does(plan_batch, planned_for=planned_for, **facts)
        plan = self.oracle.plan(f"{BATCH}{planned.batch.code}", recipe, wish.day, **said)
        self.planned.append((plan, planned))
        self._same_plan(plan, planned)
        DONE["plan"] += 1
        return plan, planned

    def _same_plan(self, plan: Plan, planned: Planned) -> None:
        batch = planned.batch
        assert (batch.batch_grams, batch.output_grams) == (plan.batch, plan.output)
        assert [one.line.grams for one in planned.lines] == plan.grams
        rows: list[Any] = [*planned.lines, *planned.packaging]
        picks = [{str(one.lot_id): Fraction(one.quantity) for one in row.picks} for row in rows]
        assert picks == plan.picks
        for row, picked in zip(planned.lines, plan.picks, strict=False):
            if row.line.material.stocked:
                assert Fraction(row.line.short) == Fraction(row.line.grams) - sum(picked.values())

    def _open_plans(self) -> list[tuple[Plan, Planned]]:
        return [one for one in self.planned if one[0].state == "planned"]

    def _batch(self, pick: int) -> tuple[Plan, Planned]:
        """Mostly one that is still planned and has something in it, the latest first."""
        ready = [one for one in self._open_plans() if self.oracle.lying_in(one[0].place)]
        among = [self.planned, self._open_plans(), *[ready or self._open_plans()] * 6][pick % 8]
        among = among or self.planned
        return among[-1 - pick // 8 % len(among)]

    # ---- Weighing --------------------------------------------------------------------------------

    @precondition(lambda self: self._open_plans())
    @rule(pick=st.integers(0), days=BENCH_DAYS)
    def weigh_as_planned(self, pick: int, days: int) -> None:
        """All lines of a batch, of what was picked for them."""
        among = self._open_plans()
        self._weigh_all(*among[-1 - pick % len(among)], days)

    def _weigh_all(self, plan: Plan, planned: Planned, days: int) -> None:
        for line, (grams, picks) in enumerate(zip(plan.grams, plan.picks, strict=False)):
            lots = [lot for lot in self.lots if str(lot.id) in picks]
            for lot in lots:
                self._weigh(plan, planned, line, lot, picks[str(lot.id)], days, "")
            if not planned.lines[line].line.material.stocked:
                self._weigh(plan, planned, line, None, grams, days, "")

    @precondition(lambda self: self.planned)
    @rule(
        pick=st.integers(0),
        which=st.integers(0),
        of=st.integers(0),
        percent=PARTS,
        days=BENCH_DAYS,
        deviation=st.sampled_from(["", "", "tested by hand"]),
        listed=st.sampled_from([True, True, True, False]),
    )
    def weigh(
        self,
        pick: int,
        which: int,
        of: int,
        percent: int,
        days: int,
        deviation: str,
        listed: bool,
    ) -> None:
        """So much of any lot that fits the line, or as an addition that is not listed."""
        plan, planned = self._batch(pick)
        line = which % len(plan.grams)
        material = planned.lines[line].line.material
        lots = [lot for lot in self.lots if lot.material_id == material.id]
        if not lots and material.stocked:
            return
        lot = lots[of % len(lots)] if lots else None
        there = self.oracle.held[STORE, str(lot.id)][0] if lot else plan.grams[line]
        whole = there if percent > 90 else min(there, plan.grams[line])
        grams = Fraction(int(whole * percent * 10**4), 10**6) or Fraction(1, 10**6)
        self._weigh(plan, planned, line if listed else None, lot, grams, days, deviation)

    def _weigh(
        self,
        plan: Plan,
        planned: Planned,
        line: int | None,
        lot: Lot | None,
        grams: Fraction,
        days: int,
        deviation: str,
    ) -> None:
        name = str(lot.id) if lot else self.shelf.tap(self.oracle)
        text, grams = self.shelf.typed(lot, grams)
        row = None if line is None else planned.lines[line].line
        headroom = None if line is None else self.oracle.headroom(plan, line)
        weighed: Weighed | None = self._may(
            "weigh",
            self.oracle.may_weigh(plan, line, name, grams, -days, deviation),
            lambda: self.shelf.shop.does(
                weigh,
                batch=planned.batch.id,
                line=row and row.id,
                lot=lot and lot.id,
                material=self.shelf.water.id if lot is None else None,
                quantity=parse_quantity(text),
                happened_at=ago(days),
                deviation=deviation,
            ),
        )
        if weighed:
            if headroom is not None:
                assert weighed.headroom_grams == max(headroom - grams, 0)
            if lot is None:
                name = self.shelf.opened(self.oracle, weighed.lot)
            event = self.oracle.weigh(plan, line, name, grams, Fraction(weighed.value), -days)
            self.told.append((event, weighed.weighing.entry_id))

    @precondition(lambda self: any(self.oracle.lying_in(plan.place) for plan, _ in self.planned))
    @rule(pick=st.integers(0), of=st.integers(0), percent=PARTS, days=BENCH_DAYS)
    def weigh_back_out(self, pick: int, of: int, percent: int, days: int) -> None:
        plan, planned = self._batch(pick)
        lying = list(self.oracle.lying_in(plan.place).items()) or [
            (str(self.lots[0].id), (ZERO, ZERO))
        ]
        name, (held, _) = lying[of % len(lying)]
        grams = Fraction(int(held * percent * 10**4), 10**6) or Fraction(1, 10**6)
        weighed: Weighed | None = self._may(
            "weigh back",
            self.oracle.may_weigh_back(plan, name, grams, -days),
            lambda: self.shelf.shop.does(
                weigh_back,
                batch=planned.batch.id,
                lot=name,
                quantity=parse_quantity(f"{decimal(grams)} g"),
                happened_at=ago(days),
            ),
        )
        if weighed:
            value = -Fraction(weighed.value)
            event = self.oracle.weigh_back(plan, None, name, grams, value, -days)
            self.told.append((event, weighed.weighing.entry_id))

    @precondition(lambda self: self.planned)
    @rule(pick=st.integers(0), days=BENCH_DAYS)
    def cancel(self, pick: int, days: int) -> None:
        plan, planned = self._batch(pick)
        cancelled = self._may(
            "cancel",
            self.oracle.may_cancel(plan, -days),
            lambda: self.shelf.shop.does(
                cancel_batch, batch=planned.batch.id, reason="spoiled", happened_at=ago(days)
            ),
        )
        if cancelled:
            event = self.oracle.cancel(plan, -days)
            assert (cancelled.cancel_entry_id is None) == (not event.lines)
            if event.lines:
                self.told.append((event, cancelled.cancel_entry_id))
