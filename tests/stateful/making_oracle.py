"""What must come of finishing and filling, from the definitions alone.

Inputs are the materials at the value that they lie in the batch with, packaging by its cost
formula, labour by minutes, and overhead per batch and as a share of materials (cost of
conversion: IAS 2.12). A declared loss is expensed at what the same mass of good output costs,
without packaging (abnormal waste: IAS 2.16(a)); whatever else was lost stays in the cost of what
is good. Total = inputs - abnormal.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from tests.stateful.batch_oracle import BatchOracle, summed
from tests.stateful.oracle import (
    STORE,
    ZERO,
    Event,
    Line,
    Lot,
    Place,
    Wrong,
    near,
)
from tests.stateful.plans import Plan, Ware

MAKING = "making"


@dataclass(frozen=True)
class Outcome:
    """What came out of a batch, what was declared lost, and the samples of it."""

    output: Fraction
    units: int | None = None
    declared: Fraction = ZERO
    samples: Sequence[Fraction] = field(default_factory=list)

    @property
    def made(self) -> Fraction:
        """Grams of bulk, or units."""
        return self.output if self.units is None else Fraction(self.units)


class MakingOracle(BatchOracle):
    """A maker's books with what is made of batches."""

    def packaging(
        self, ware: Ware | None, units: int, day: int, *, for_batch: Place = ""
    ) -> dict[Lot, Fraction] | None:
        """The batch's own first, then what is free, first expiry first; none where it is short."""
        draws: dict[Lot, Fraction] = defaultdict(Fraction)
        for material, each in ware.packaging.items() if ware else ():
            free = self.free_of(material, for_batch=for_batch)
            own = {
                lot: min(q, self.reserved.get((for_batch, lot), ZERO)) for lot, q in free.items()
            }
            wanted = each * units
            for lots in (own, free):
                for lot, q in self.pick(lots, wanted, day).items():
                    draws[lot] += q
                    wanted -= q
                    if lots is own:
                        free[lot] -= q
            if wanted:
                return None
        return dict(draws)

    # ---- Finishing -------------------------------------------------------------------------------

    def may_finish(self, plan: Plan, outcome: Outcome, day: int) -> bool:
        """A planned batch with something in it, and packaging for all units."""
        lying = [(lot, q) for lot, (q, _) in self.lying_in(plan.place).items()]
        if plan.state != "planned" or not lying or not self.may_leave(plan.place, lying, day):
            return False
        draws = self.packaging(plan.ware, outcome.units or 0, day, for_batch=plan.place)
        if draws is None or not self.may_leave(STORE, draws.items(), day):
            return False
        return sum(outcome.samples) <= outcome.made

    def finish(
        self, plan: Plan, outcome: Outcome, lot: Lot, posted: Sequence[Line], day: int
    ) -> Event:
        """All that was weighed becomes one lot."""
        event, ware = Event("make", day, batch=plan.place), plan.ware
        lying = self.lying_in(plan.place)
        materials = sum((v for _, v in lying.values()), ZERO)
        draws = self.packaging(ware, outcome.units or 0, day, for_batch=plan.place) or {}
        for name, (quantity, value) in lying.items():
            self._pass(event, plan.place, MAKING, name, quantity, value)
        packaging = self._draw(event, draws, posted)
        labour = overhead = abnormal = ZERO
        if ware is not None:
            minutes = ware.minutes_per_batch + ware.minutes_per_unit * (outcome.units or 0)
            labour = self._pay(event, posted, "labour", minutes * ware.hourly_rate / 60)
            share = ware.overhead_percent / 100 * materials
            overhead = self._pay(event, posted, "overhead", ware.overhead_per_batch + share)
        bulk = materials + labour + overhead
        abnormal = self._expense(
            event, posted, outcome.declared * bulk / (outcome.output + outcome.declared)
        )
        makes = plan.recipe.makes if ware is None or outcome.units is None else ware.makes
        self.material[lot] = makes
        total = bulk + packaging - abnormal
        self._pass(event, MAKING, STORE, lot, outcome.made, total)
        self.last_day[lot] = self._lasts(lying, plan.recipe.shelf_life, day)
        self._end(plan, "finished", event)
        return self._as_posted(event, posted)

    def check_cost(
        self, plan: Plan, event: Event, outcome: Outcome, cost: Any, yielded: Any
    ) -> None:
        """The figures that are told of a batch are those that were posted, and follow from them."""
        sums = summed(event.lines)
        inside = [sums[x.place, x.lot] for x in event.lines if x.place == plan.place]
        weighed = -sum((q for q, _ in inside), ZERO)
        worth = {
            "materials": -sum((v for _, v in inside), ZERO),
            "packaging": -sum(
                (x.value for x in event.lines if x.place == STORE and x.quantity < 0), ZERO
            ),
            "labour": -sums.get(("labour", None), (ZERO, ZERO))[1],
            "overhead": -sums.get(("overhead", None), (ZERO, ZERO))[1],
        }
        inputs = sum(worth.values(), ZERO)
        worth |= {"inputs": inputs, "abnormal": sums.get(("loss", None), (ZERO, ZERO))[1]}
        worth["total"] = inputs - worth["abnormal"]
        for name, value in worth.items():
            if Fraction(getattr(cost, name)) != value:
                raise Wrong(f"{name} of {plan.place}: told {getattr(cost, name)}, posted {value}.")
        bulk = worth["total"] - worth["packaging"]
        near(Fraction(cost.per_kg), bulk * 1000 / outcome.output)
        if outcome.units is not None:
            near(Fraction(cost.per_unit), worth["total"] / outcome.units)
        near(Fraction(yielded.yield_percent), outcome.output * 100 / weighed)
        near(Fraction(yielded.plan_percent), outcome.output * 100 / plan.output)
        expected = weighed * plan.recipe.loss / 100
        actual = weighed - outcome.output - outcome.declared
        near(Fraction(yielded.expected_grams), expected)
        near(Fraction(yielded.actual_grams), actual, whole=True)
        near(Fraction(yielded.beyond_grams), max(ZERO, actual - expected))

    # ---- Filling ---------------------------------------------------------------------------------

    def may_fill(
        self,
        ware: Ware,
        bulk: Lot,
        used: Fraction,
        outcome: Outcome,
        day: int,
        deviation: str,
    ) -> bool:
        """Bulk and packaging that are there, may be used, and are promised to no one."""
        draws = self.packaging(ware, outcome.units or 0, day)
        return (
            self.status[bulk] != "rejected"
            and self.may_take("fill", MAKING, [(bulk, used)], day, deviation)
            and draws is not None
            and self.may_leave(STORE, draws.items(), day)
            and sum(outcome.samples) <= outcome.made
        )

    def fill(
        self,
        ware: Ware,
        bulk: Lot,
        used: Fraction,
        outcome: Outcome,
        lot: Lot,
        posted: Sequence[Line],
        day: int,
    ) -> Event:
        """Bulk becomes units, with packaging, and with labour for each."""
        units = outcome.units or 0
        event = Event("fill", day)
        draws = {bulk: used, **(self.packaging(ware, units, day) or {})}
        total = self._draw(event, draws, posted)
        minutes = ware.minutes_per_unit * units
        total += self._pay(event, posted, "labour", minutes * ware.hourly_rate / 60)
        self.material[lot] = ware.makes
        self._pass(event, MAKING, STORE, lot, Fraction(units), total)
        self.last_day[lot] = self._lasts([bulk], None, day)
        return self._as_posted(event, posted)

    def made_at(self, event: Event) -> Fraction:
        """What was made carries this value."""
        return sum((x.value for x in event.lines if x.place == STORE and x.value > 0), ZERO)

    # ---- Together --------------------------------------------------------------------------------

    def _draw(
        self, event: Event, draws: Mapping[Lot, Fraction], posted: Sequence[Line]
    ) -> Fraction:
        """Takes draws out of the store, in the order in which they were posted; their value."""
        drawn = [x for x in posted if x.place == STORE and x.quantity < 0 and x.lot is not None]
        if {x.lot for x in drawn} != set(draws):
            raise Wrong(f"Drawn were {drawn}, not {draws}.")
        for line in drawn:
            name = str(line.lot)
            self._cost(event, name, draws[name], -line.value)
            self._pass(event, STORE, MAKING, name, draws[name], -line.value)
        return -sum((x.value for x in drawn), ZERO)

    def _pay(self, event: Event, posted: Sequence[Line], place: Place, exact: Fraction) -> Fraction:
        """Value alone goes into what is made."""
        found = -summed(posted).get((place, None), (ZERO, ZERO))[1]
        near(found, exact)
        self._pass(event, place, MAKING, None, ZERO, found)
        return found

    def _expense(self, event: Event, posted: Sequence[Line], exact: Fraction) -> Fraction:
        found = summed(posted).get(("loss", None), (ZERO, ZERO))[1]
        near(found, exact)
        self._pass(event, MAKING, "loss", None, ZERO, found)
        return found

    def _lasts(self, lots: Any, shelf_life: int | None, day: int) -> int | None:
        """The shelf life, but no longer than the earliest input, and at least for the day."""
        dates = [last for lot in lots if (last := self.last_day.get(lot)) is not None]
        earliest = max(min(dates), day) if dates else None
        shelf = None if shelf_life is None else day + shelf_life
        return min((one for one in (earliest, shelf) if one is not None), default=None)

    def _as_posted(self, event: Event, posted: Sequence[Line]) -> Event:
        """What was posted is what follows from the definitions, line for line."""
        nothing = (ZERO, ZERO)
        ours, theirs = summed(event.lines), summed(posted)
        for key in ours.keys() | theirs.keys():
            if ours.get(key, nothing) != theirs.get(key, nothing):
                raise Wrong(f"At {key}: {theirs.get(key)} was posted, not {ours.get(key)}.")
        return self._done(event)
