"""What must come of planning, weighing, cancelling and undoing, from the definitions alone.

- A line is its percent of the mass weighed in, to the hundredth of a gram; the balance line takes
  what is left over, and without one the largest remainders take it. What is to be left over is
  divided by what the normal loss leaves.
- Lots are picked first expiry first among those usable on the day of the batch; a lot without a
  date comes last, and of two the one that came earlier goes first. What was picked is promised.
- An addition to effect is at most its maximum of the final mass, of which it is a part itself.
- What comes back out of a batch takes its share of what lies there; what is not stocked, such as
  water, costs what the catalogue says and goes back to the tap.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from tests.stateful.oracle import (
    MILLIONTH,
    STORE,
    ZERO,
    Event,
    Line,
    Lot,
    Material,
    Oracle,
    Place,
    Wrong,
    near,
)
from tests.stateful.plans import NEVER, STEP, TAP, Plan, Recipe, Ware


class BatchOracle(Oracle):
    """A maker's books with batches in them."""

    def __init__(self) -> None:
        super().__init__()
        self.status: dict[Lot, str] = {}
        # The last day on which a lot may be used; none where it has no date.
        self.last_day: dict[Lot, int | None] = {}
        self.per_kg: dict[Material, Fraction] = {}
        self.reserved: dict[tuple[Place, Lot], Fraction] = defaultdict(Fraction)
        self.plans: dict[Place, Plan] = {}

    def usable(self, lot: Lot, day: int) -> bool:
        """Released, and in date that day."""
        last = self.last_day.get(lot)
        return self.status[lot] == "released" and (last is None or day <= last)

    def lying_in(self, place: Place) -> dict[Lot, tuple[Fraction, Fraction]]:
        """Quantity and value of each lot there."""
        return {
            lot: (q, v)
            for (where, lot), (q, v) in self.held.items()
            if where == place and q > 0 and lot is not None
        }

    # ---- Promises --------------------------------------------------------------------------------

    def promised(self, lot: Lot, *, besides: Place = "") -> Fraction:
        """How much of a lot was promised to others."""
        return sum(
            (q for (to, of), q in self.reserved.items() if of == lot and to != besides), ZERO
        )

    def free_of(self, material: Material, *, for_batch: Place = "") -> dict[Lot, Fraction]:
        """What of each lot in store was promised to nobody else, in the order of receipt."""
        return {
            lot: self.held[STORE, lot][0] - self.promised(lot, besides=for_batch)
            for lot, made_of in self.material.items()
            if made_of == material and self.held[STORE, lot][0] > 0
        }

    def pick(self, free: dict[Lot, Fraction], wanted: Fraction, day: int) -> dict[Lot, Fraction]:
        """First expiry first; what was picked is no longer free."""
        picks: dict[Lot, Fraction] = {}
        usable = [lot for lot in free if self.usable(lot, day)]
        last = {lot: NEVER if (on := self.last_day.get(lot)) is None else on for lot in usable}
        for lot in sorted(usable, key=lambda lot: last[lot]):
            part = min(free[lot], wanted)
            if part > 0:
                picks[lot] = part
                free[lot] -= part
                wanted -= part
        return picks

    def release_promises(self, place: Place) -> None:
        """What was promised to a batch is promised to nobody."""
        for to, lot in list(self.reserved):
            if to == place:
                del self.reserved[to, lot]

    def promise_again(self, plan: Plan, came_back: Mapping[Lot, Fraction]) -> None:
        """What came back to the store is promised to its batch again, as far as it needs it."""
        before: dict[Material, Fraction] = defaultdict(Fraction)
        lacking = {self.material[lot]: self.lacks(plan, self.material[lot]) for lot in came_back}
        for lot, quantity in sorted(came_back.items()):
            made_of = self.material[lot]
            free = self.held[STORE, lot][0] - self.promised(lot)
            part = min(quantity, lacking[made_of] - before[made_of], free)
            if part > 0:
                self.reserved[plan.place, lot] += part
            before[made_of] += quantity

    def lacks(self, plan: Plan, material: Material) -> Fraction:
        """What a batch needs of a material beside what lies in it and what it was promised."""
        needs = [(line.material, q) for line, q in zip(plan.recipe.lines, plan.grams, strict=True)]
        if plan.ware:
            units = plan.output / plan.ware.fill
            needs += [(m, each * units) for m, each in plan.ware.packaging.items()]
        has = [
            q for lot, (q, _) in self.lying_in(plan.place).items() if self.material[lot] == material
        ]
        has += [
            q
            for (to, lot), q in self.reserved.items()
            if to == plan.place and self.material[lot] == material
        ]
        return sum((q for m, q in needs if m == material), ZERO) - sum(has, ZERO)

    def plan(
        self,
        place: Place,
        recipe: Recipe,
        day: int,
        *,
        batch: Fraction | None = None,
        output: Fraction | None = None,
        ware: Ware | None = None,
        units: int = 0,
    ) -> Plan:
        """A batch of so much weighed in, of so much left, or of so many units."""
        wanted = ware.fill * units if ware else output
        if wanted is None:
            batch = Fraction(round((batch or ZERO) / STEP)) * STEP
            wanted = Fraction(round(batch * (1 - recipe.loss / 100) / STEP)) * STEP
        else:
            batch = Fraction(round(wanted / (1 - recipe.loss / 100) / STEP)) * STEP
        grams = recipe.scale(batch)
        if sum(grams) != batch:
            raise Wrong(f"The lines of {place} make {sum(grams)}, not {batch}.")
        needs = [(line.material, q) for line, q in zip(recipe.lines, grams, strict=True)]
        needs += [(m, each * units) for m, each in ware.packaging.items()] if ware else []
        free = {m: self.free_of(m) for m, _ in needs if m not in self.per_kg}
        picks = [self.pick(free[m], q, day) if m in free else {} for m, q in needs]
        for part in picks:
            for lot, q in part.items():
                self.reserved[place, lot] += q
        self.plans[place] = Plan(place, recipe, ware, batch, wanted, grams, picks)
        return self.plans[place]

    # ---- Weighing --------------------------------------------------------------------------------

    def may_take(
        self,
        kind: str,
        to: Place,
        wanted: Sequence[tuple[Lot, Fraction]],
        day: int,
        deviation: str = "",
    ) -> bool:
        """Usable, unless with a deviation, and promised to no one else."""
        must_be_usable = kind in ("draw", "sale", "fill") and not deviation
        if must_be_usable and not all(self.usable(lot, day) for lot, _ in wanted):
            return False
        for lot in {lot for lot, _ in wanted}:
            leaves = sum((q for which, q in wanted if which == lot), ZERO)
            own = max(self.reserved.get((to, lot), ZERO) - leaves, ZERO)
            if self.held[STORE, lot][0] - leaves < own + self.promised(lot, besides=to):
                return False
        return super().may_take(kind, to, wanted, day)

    def take(
        self,
        to: Place,
        lines: Sequence[tuple[Lot, Fraction]],
        values: Sequence[Fraction],
        day: int,
    ) -> Event:
        """What a batch takes uses up what it was promised."""
        for lot, quantity in lines:
            if (to, lot) in self.reserved:
                self.reserved[to, lot] = max(self.reserved[to, lot] - quantity, ZERO)
        return super().take(to, lines, values, day)

    def may_weigh(
        self, plan: Plan, line: int | None, lot: Lot, grams: Fraction, day: int, deviation: str
    ) -> bool:
        """Into a planned batch, within the maximum, of what is there and may be used."""
        if plan.state != "planned" or self.status[lot] == "rejected":
            return False
        most = None if line is None else plan.recipe.lines[line].most
        if line is not None and most is not None and not deviation:
            others, own = plan.masses(line)
            if own + grams > most / 100 * (own + grams + others):
                return False
        if self.material[lot] in self.per_kg:
            return True
        return self.may_take("draw", plan.place, [(lot, grams)], day, deviation)

    def headroom(self, plan: Plan, line: int) -> Fraction | None:
        """What may still be added to effect, to the millionth below."""
        most = plan.recipe.lines[line].most
        if most is None:
            return None
        others, own = plan.masses(line)
        exact = most * others / (100 - most)
        return max(ZERO, int(exact / MILLIONTH) * MILLIONTH - own)

    def weigh(
        self, plan: Plan, line: int | None, lot: Lot, grams: Fraction, value: Fraction, day: int
    ) -> Event:
        """Goods go into a batch at what the cost formula, or the catalogue, says."""
        per_kg = self.per_kg.get(self.material[lot])
        if per_kg is None:
            event = self.take(plan.place, [(lot, grams)], [value], day)
        else:
            near(value, per_kg * grams / 1000)
            event = Event("take", day)
            self._pass(event, TAP, plan.place, lot, grams, value)
            self._done(event)
        event.batch = plan.place
        plan.weighed.append((line, lot, grams, event))
        return event

    def may_weigh_back(self, plan: Plan, lot: Lot, grams: Fraction, day: int) -> bool:
        """Out of a planned batch, what lies in it."""
        return plan.state == "planned" and self.may_leave(plan.place, [(lot, grams)], day)

    def weigh_back(
        self, plan: Plan, line: int | None, lot: Lot, grams: Fraction, value: Fraction, day: int
    ) -> Event:
        """Goods go back to where they came from, off the line they were last weighed for."""
        if self.material[lot] not in self.per_kg:
            event = self.put_back(plan.place, lot, grams, value, day)
        else:
            held, worth = self.held[plan.place, lot]
            near(value, worth * grams / held, whole=grams == held)
            event = Event("weigh_back", day)
            self._pass(event, plan.place, TAP, lot, grams, value)
            self._done(event)
        event.batch = plan.place
        plan.weighed.append(
            (plan.last_line(lot) if line is None else line, lot, -grams, event),
        )
        if self.material[lot] not in self.per_kg:
            self.promise_again(plan, {lot: grams})
        return event

    def may_cancel(self, plan: Plan, day: int) -> bool:
        """A planned batch, whose goods lay in it on that day."""
        lying = [(lot, q) for lot, (q, _) in self.lying_in(plan.place).items()]
        return plan.state == "planned" and self.may_leave(plan.place, lying, day)

    def cancel(self, plan: Plan, day: int) -> Event:
        """All that lies in a batch goes back with all its value."""
        event = Event("cancel", day, batch=plan.place)
        for lot, (quantity, value) in self.lying_in(plan.place).items():
            tapped = self.material[lot] in self.per_kg
            self._pass(event, plan.place, TAP if tapped else STORE, lot, quantity, value)
        self._end(plan, "cancelled", event)
        return self._done(event)

    # ---- Undoing ---------------------------------------------------------------------------------

    def may_undo(self, event: Event, day: int) -> bool:
        """Nothing comes back into a batch that has ended, and promises are kept."""
        plan = self.plans.get(event.batch)
        if event.kind == "weigh_back" and plan is not None and plan.state != "planned":
            return False
        whole = self._with_samples(event)
        if not super().may_undo(whole, day):
            return False
        gains: dict[Lot, Fraction] = defaultdict(Fraction)
        for line in whole.lines:
            if line.place == STORE and line.lot is not None:
                gains[line.lot] += line.quantity
        return all(self.held[STORE, x][0] - q >= self.promised(x) for x, q in gains.items())

    def undo(self, event: Event, day: int) -> None:
        """Its samples with it; a batch that it ended is planned again."""
        samples = event.samples
        if samples is not None and not samples.undone:
            super().undo(samples, day)
        super().undo(event, day)
        plan = self.plans.get(event.batch)
        if plan is not None and plan.ended_by is event:
            plan.state, plan.ended_by = "planned", None
        if plan is not None and plan.state == "planned":
            back: dict[Lot, Fraction] = defaultdict(Fraction)
            for line in event.lines:
                if line.place == STORE and line.lot is not None:
                    back[line.lot] -= line.quantity
            self.promise_again(plan, {lot: q for lot, q in back.items() if q > 0})

    def _with_samples(self, event: Event) -> Event:
        samples = event.samples
        if samples is None or samples.undone:
            return event
        return replace(
            event,
            lines=[*samples.lines, *event.lines],
            layers=[*samples.layers, *event.layers],
        )

    # ---- Together --------------------------------------------------------------------------------

    def _end(self, plan: Plan, state: str, event: Event) -> None:
        plan.state, plan.ended_by = state, event
        self.release_promises(plan.place)

    def _pass(
        self,
        event: Event,
        source: Place,
        to: Place,
        lot: Lot | None,
        quantity: Fraction,
        value: Fraction,
    ) -> None:
        """So much from one place to another; what comes into the store makes a layer."""
        self._shift(event, source, lot, -quantity, -value)
        self._shift(event, to, lot, quantity, value)
        if to == STORE and lot is not None:
            self._give(event, lot, self._layer_for(lot), quantity, value)


def summed(lines: Sequence[Line]) -> dict[tuple[Place, Lot | None], tuple[Fraction, Fraction]]:
    """Quantity and value that lines move at each place."""
    sums: dict[tuple[Place, Lot | None], tuple[Fraction, Fraction]] = {}
    for line in lines:
        q, v = sums.get((line.place, line.lot), (ZERO, ZERO))
        sums[line.place, line.lot] = (q + line.quantity, v + line.value)
    return sums
