"""An order plan's question as a program for the solver, and its answers as packs.

A tier of an offer has a column for packs that cover; where it begins above one pack or is one of
several, a further column says that it is reached. A supplier has a column for being ordered from
and, where that may happen, one for free freight and one for freight by mass, rounded as a bill is.

Packs beyond the need are bought only for a least or a free amount of a supplier. They are counted
apart, so that they do not weaken the rows, and of most suppliers only as an amount of any size: a
program that asks for too little, so that its cost bounds the true one. Of the suppliers that are
named, they are columns of packs, and the cost is the true.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import floor, lcm
from typing import Final

from ledger.order_numbers import Choice, Question, Tier
from ledger.solver import Program

_MANY: Final = 1 << 40


@dataclass(frozen=True, slots=True)
class _Run:
    """The columns of a tier: reached (None where every pack counts), covering and beyond."""

    choice: int
    tier: Tier
    reached: int | None
    covering: int
    beyond: int | None

    @property
    def first(self) -> int:
        """How many packs `reached` stands for."""
        return 0 if self.reached is None else self.tier.first

    def packs(self) -> list[tuple[int, int]]:
        """Each column with how many packs one of it is."""
        found = [(self.covering, 1)]
        if self.reached is not None:
            found.append((self.reached, self.tier.first))
        if self.beyond is not None:
            found.append((self.beyond, 1))
        return found


@dataclass(slots=True)
class Model:
    """The program, and which column means what."""

    question: Question
    program: Program = field(default_factory=Program)
    runs: list[_Run] = field(default_factory=list)
    ordered: list[int] = field(default_factory=list)
    free: dict[int, int] = field(default_factory=dict)
    by_mass: dict[int, int] = field(default_factory=dict)
    amounts: dict[int, int] = field(default_factory=dict)

    def packs(self, values: Sequence[int]) -> list[int]:
        """How many packs of each choice these values mean."""
        found = [0] * len(self.question.choices)
        for run in self.runs:
            found[run.choice] += sum(values[column] * packs for column, packs in run.packs())
        return found

    def beyond(self, values: Sequence[int]) -> dict[int, int]:
        """The amounts that these values spend beyond the need without saying on which packs."""
        spent = {supplier: values[column] for supplier, column in self.amounts.items()}
        return {supplier: amount for supplier, amount in spent.items() if amount}

    def values(self, packs: Sequence[int]) -> list[int]:
        """The values of all columns that mean these packs."""
        found = [0] * len(self.program.costs)
        goods: dict[int, int] = defaultdict(int)
        mass: dict[int, Fraction] = defaultdict(Fraction)
        for run in self.runs:
            count, choice = packs[run.choice], self.question.choices[run.choice]
            if count < run.tier.first or (run.tier.last or count) < count:
                continue
            further = count - run.first
            found[run.covering] = min(further, self.program.highest[run.covering])
            if run.reached is not None:
                found[run.reached] = 1
            if run.beyond is not None:
                found[run.beyond] = further - found[run.covering]
            found[self.ordered[choice.supplier]] = 1
            goods[choice.supplier] += count * run.tier.price
            mass[choice.supplier] += count * choice.by_mass
        for supplier, amount in goods.items():
            asked = self.question.agreed[supplier]
            is_free = asked.free_from is not None and amount >= asked.free_from
            if is_free and supplier in self.free:
                found[self.free[supplier]] = 1
            elif supplier in self.by_mass:
                coins = mass[supplier] / self.question.steps_a_coin
                found[self.by_mass[supplier]] = floor(coins + Fraction(1, 2))
        return found


def model_of(question: Question, in_packs: Collection[int]) -> Model:
    """The program whose least cost bounds that of the cheapest plan, and is that where all of the
    suppliers are named in `in_packs` or nothing is spent beyond the need on the others."""
    model = Model(question)
    model.ordered = [model.program.column(asked.flat, 1) for asked in question.agreed]
    of_material: dict[int, list[_Run]] = defaultdict(list)
    of_supplier: dict[int, list[_Run]] = defaultdict(list)
    for place, choice in enumerate(question.choices):
        runs = [run for tier in choice.tiers for run in _run(model, place, tier, in_packs)]
        _one_tier(model, choice, runs)
        model.runs.extend(runs)
        of_material[choice.material].extend(runs)
        of_supplier[choice.supplier].extend(runs)
    for material, need in enumerate(question.needs):
        _cover(model, need, of_material[material])
    for supplier in range(len(question.agreed)):
        _terms(model, supplier, of_supplier[supplier], in_packs)
    return model


def _run(model: Model, place: int, tier: Tier, in_packs: Collection[int]) -> list[_Run]:
    """The columns of a tier; none where so many packs would not be used in time."""
    choice = model.question.choices[place]
    plain = tier.first == 1 and len(choice.tiers) == 1
    last = tier.last or _MANY
    if choice.usable is not None:
        last = min(last, choice.usable // choice.size)
    if last < tier.first:
        return []
    worth = model.question.agreed[choice.supplier].worth_reaching
    need = model.question.needs[choice.material]
    first = 0 if plain else tier.first
    covering = min(last, max(first, -(-need // choice.size)))
    extra = choice.supplier in in_packs and tier.price > 0
    beyond = min(last, -(-worth // tier.price)) if extra else 0
    column = model.program.column
    return [
        _Run(
            choice=place,
            tier=tier,
            reached=None if plain else column(tier.first * tier.price, 1),
            covering=column(tier.price, covering - first),
            beyond=column(tier.price, beyond - covering) if beyond > covering else None,
        )
    ]


def _one_tier(model: Model, choice: Choice, runs: Sequence[_Run]) -> None:
    """At most one tier of an offer is reached, and only of a supplier that is ordered from."""
    program, ordered = model.program, model.ordered[choice.supplier]
    for run in runs:
        gate = ordered if run.reached is None else run.reached
        # What is bought beyond the need of a supplier that is not ordered from helps nothing.
        of_tier = (
            [run.covering] if gate == ordered or run.beyond is None else [run.covering, run.beyond]
        )
        for column in of_tier:
            if most := program.highest[column]:
                program.row({gate: most, column: -1}, 0)
    if reached := {run.reached: -1 for run in runs if run.reached is not None}:
        program.row({ordered: 1} | reached, 0)


def _cover(model: Model, need: int, runs: Sequence[_Run]) -> None:
    """A need is covered, and of what expires by some day no more is bought than is used by then."""
    covering: dict[int, int] = {}
    within: dict[int, dict[int, int]] = defaultdict(dict)
    for run in runs:
        choice = model.question.choices[run.choice]
        covering[run.covering] = min(need, choice.size)
        if run.reached is not None:
            covering[run.reached] = min(need, choice.size * run.tier.first)
        if choice.usable is not None:
            within[choice.usable] |= {column: -packs * choice.size for column, packs in run.packs()}
    model.program.row(covering, need)
    held: dict[int, int] = {}
    for usable in sorted(within):
        held = held | within[usable]
        model.program.row(held, -usable)


def _terms(model: Model, supplier: int, runs: Sequence[_Run], in_packs: Collection[int]) -> None:
    """The least amount, free freight, and freight by mass of a supplier."""
    program, asked = model.program, model.question.agreed[supplier]
    ordered = model.ordered[supplier]
    goods: dict[int, int] = {}
    mass: dict[int, Fraction] = {}
    for run in runs:
        by_mass = model.question.choices[run.choice].by_mass
        goods |= {column: packs * run.tier.price for column, packs in run.packs()}
        mass |= {column: packs * by_mass for column, packs in run.packs()}
    if asked.worth_reaching and runs and supplier not in in_packs:
        amount = _amount(model, asked.worth_reaching, min(run.tier.price for run in runs))
        model.amounts[supplier] = amount
        goods[amount] = 1
    if asked.minimum:
        program.row(goods | {ordered: -asked.minimum}, 0)
    free = None
    if asked.free_from is not None and (asked.flat or asked.by_mass):
        free = model.free[supplier] = program.column(-asked.flat, 1)
        program.row({ordered: 1, free: -1}, 0)
        program.row(goods | {free: -asked.free_from}, 0)
    if asked.by_mass:
        _freight_by_mass(model, supplier, mass, free)


def _amount(model: Model, most: int, pack: int) -> int:
    """The column of an amount up to `most`, tied to a part of one, which says nothing new.

    The solver cannot put it away then, which would spoil its rows: it answers twice as soon.
    """
    program = model.program
    amount, part = program.column(1, most, whole=False), program.column(0, 1, whole=False)
    program.row({amount: 1, part: -min(pack, most)}, 0)
    program.row({part: most, amount: -1}, 0)
    return amount


def _freight_by_mass(
    model: Model, supplier: int, mass: Mapping[int, Fraction], free: int | None
) -> None:
    """So many whole coins that no fewer are nearest to the exact freight, halves up.

    With 1 / d the measure of the exact freight in coins, that is 2 d coins >= 2 d exact - d + 1.
    """
    program, coin = model.program, model.question.steps_a_coin
    exact = {column: each / coin for column, each in mass.items() if each}
    below = lcm(*(each.denominator for each in exact.values()))
    most = sum((each * program.highest[column] for column, each in exact.items()), Fraction(0))
    coins = model.by_mass[supplier] = program.column(coin, floor(most) + 1)
    row = {column: -int(2 * below * each) for column, each in exact.items()} | {coins: 2 * below}
    if free is not None:
        row[free] = 2 * below * (floor(most) + 1)
    program.row(row, 1 - below)
