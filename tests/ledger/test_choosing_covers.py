"""The choice among covers step by step: its program, its bound, and what it settles when."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from decimal import Decimal as D
from fractions import Fraction
from itertools import product
from math import ceil
from random import Random
from types import SimpleNamespace

import pytest

from ledger import cover_choice
from ledger.cover_choice import CoverChoice
from ledger.order_numbers import Agreed, Choice, Question, Tier
from ledger.solver import WORTH, Program, Relaxation, Relaxed, solve

ENDLESS = 1 << 80
Cover = Mapping[int, int]
Settled = Mapping[int, int]


def offer(
    supplier: int, size: int, *prices: tuple[int, int], material: int = 0, usable: int | None = None
) -> Choice:
    """Each price from so many packs on."""
    firsts = [first for first, _ in prices]
    lasts = [*(first - 1 for first in firsts[1:]), None]
    tiers = tuple(map(Tier, firsts, lasts, [price for _, price in prices]))
    return Choice(material, supplier, size, tiers, usable=usable)


def asking(needs: Sequence[int], agreed: Sequence[Agreed], *choices: Choice) -> Question:
    return Question(tuple(needs), choices, tuple(agreed), 1, 1)


def agreed(flat: int = 0, least: int = 0, free_from: int | None = None) -> Agreed:
    return Agreed(least, flat, by_mass=False, free_from=free_from)


def by_chance(r: Random) -> Question:
    """Up to two materials of two suppliers, whose prices fall."""
    needs = [r.randint(1, 6) for _ in range(r.randint(1, 2))]
    terms = [
        agreed(
            r.choice([0, r.randint(1, 40)]),
            r.choice([0, r.randint(1, 90)]),
            r.choice([None, r.randint(1, 120)]),
        )
        for _ in range(2)
    ]
    tiers = [(1, r.randint(15, 30))], [(1, 30), (2, r.randint(15, 29))], [(2, r.randint(15, 30))]
    choices = [
        offer(supplier, r.randint(1, 4), *r.choice(tiers), material=material)
        for material in range(len(needs))
        for supplier in (0, 1, r.randint(0, 1))
    ]
    return asking(needs, terms, *choices)


def covers(question: Question, material: int) -> Iterator[Cover]:
    """All packs that hold what is needed, with no more of each than would do so alone."""
    own = [(n, c) for n, c in enumerate(question.choices) if c.material == material]
    need = question.needs[material]
    for counts in product(*(range(max(2, -(-need // choice.size)) + 1) for _, choice in own)):
        packs = {n: count for (n, _), count in zip(own, counts, strict=True) if count}
        sold = all(count >= question.choices[n].tiers[0].first for n, count in packs.items())
        if sold and sum(question.choices[n].size * count for n, count in packs.items()) >= need:
            yield packs


def with_all(question: Question) -> CoverChoice:
    choice = CoverChoice(question)
    for material in range(len(question.needs)):
        for packs in covers(question, material):
            assert choice.add(material, packs)
    return choice


def goods(question: Question, packs: Cover) -> dict[int, int]:
    """What packs cost at each supplier."""
    found: dict[int, int] = {}
    for n, count in packs.items():
        choice = question.choices[n]
        found[choice.supplier] = found.get(choice.supplier, 0) + choice.price(count)
    return found


def merged(question: Question, chosen: Sequence[Cover]) -> dict[int, int]:
    found: dict[int, int] = {}
    for cover in chosen:
        for supplier, amount in goods(question, cover).items():
            found[supplier] = found.get(supplier, 0) + amount
    return found


def plainly(terms: Agreed, amount: int) -> int:
    """What is paid where an amount of any size may be added to reach a least or a free one."""
    paid = max(amount, terms.minimum)
    if terms.free_from is None:
        return paid + terms.flat
    return min(paid + terms.flat, max(paid, terms.free_from))


@pytest.fixture
def relaxing(monkeypatch: pytest.MonkeyPatch) -> "Scripted":
    found = Scripted()
    monkeypatch.setattr(cover_choice, "Relaxation", found)
    monkeypatch.setattr(cover_choice, "time", SimpleNamespace(monotonic_ns=lambda: found.now))
    return found


class Scripted:
    """In place of the solver: what it answers by what is settled, or that there is nothing."""

    def __init__(self) -> None:
        self.programs: list[Program] = []
        self.asked: list[Settled] = []
        self.answers: Callable[[Settled], Relaxed | None] = lambda settled: None
        self.now = 0

    def __call__(self, program: Program) -> "Scripted":
        self.programs.append(program)
        return self

    def ask(self, bounds: Mapping[int, tuple[int, int]]) -> Relaxed | None:
        self.asked.append({c: low for c, (low, high) in bounds.items() if low == high})
        assert all(each in {(0, 0), (1, 1), (0, 1)} for each in bounds.values())
        self.now += 10
        return self.answers(self.asked[-1])


def never(packs: Sequence[int]) -> None:
    """Nothing that is told breaks no rule."""


def test_with_all_covers_known_its_program_is_the_question(relaxing: Scripted) -> None:
    """Its least cost in whole numbers is that of the best cover for each material, where a least or
    a free amount may be reached by any sum."""
    r = Random(1)
    for _ in range(25):
        question = by_chance(r)
        with_all(question).search(never, ENDLESS, D(0))
        expected = min(
            sum(
                plainly(question.agreed[supplier], amount)
                for supplier, amount in merged(question, chosen).items()
            )
            for chosen in product(*(covers(question, m) for m in range(len(question.needs))))
        )
        assert solve(relaxing.programs[-1], seconds=Fraction(600)).bound == expected


def test_its_bound_is_the_least_of_all_with_what_rows_are_worth(relaxing: Scripted) -> None:
    """Each way of being ordered from, or of freight being free, and each cover: what it costs, and
    for each row what it asks for, less what it has of that, at the worth of the row."""
    r, helped = Random(2), 0
    for _ in range(150):
        question = by_chance(r)
        choice = CoverChoice(question)
        for material in range(len(question.needs)):
            known = list(covers(question, material))
            for packs in r.sample(known, min(2, len(known))):
                choice.add(material, packs)
        choice.search(never, ENDLESS, D(0))
        worths = [r.choice([0, r.randint(0, 40 * WORTH)]) for _ in relaxing.programs[-1].least]
        for row in (*choice._rows.least.values(), *choice._rows.free.values()):
            worths[row] = r.choice([0, r.randint(0, 5 * WORTH // 4)])
        settled = {column: r.randint(0, 1) for column in range(4) if r.random() < 0.3}
        bound, more = choice._priced(worths, settled)
        least = lagrangian(question, choice, worths, settled)
        assert least is None or bound == ceil(least)
        helped += more
    assert 20 < helped < 120


def lagrangian(
    question: Question, choice: CoverChoice, worths: Sequence[int], settled: Settled
) -> Fraction | None:
    """In whole numbers of the currency's steps; a worth of an amount is never above one."""
    rows, suppliers = choice._rows, range(len(question.agreed))

    def worth(of: Mapping[int, int], supplier: int) -> Fraction:
        return Fraction(worths[of[supplier]], WORTH) if supplier in of else Fraction(0)

    least = [min(worth(rows.least, s), Fraction(1)) for s in suppliers]
    free = [min(worth(rows.free, s), 1 - least[s]) for s in suppliers]
    fees = {pair: Fraction(worths[row], WORTH) for pair, row in rows.of_supplier.items()}
    total = Fraction(0)
    for s, terms in enumerate(question.agreed):
        ways = []
        for ordered, is_free in ((0, 0), (1, 0), (1, 1)):
            allowed = settled.get(s, ordered) == ordered and settled.get(2 + s, is_free) == is_free
            if allowed and not (is_free and terms.free_from is None):
                cost = (ordered - is_free) * terms.flat + ordered * least[s] * terms.minimum
                cost += is_free * free[s] * (terms.free_from or 0)
                ways.append(cost - ordered * sum(f for (_, one), f in fees.items() if one == s))
        if not ways:
            return None
        total += min(ways)
    for material in range(len(question.needs)):
        costs = [
            sum(
                fees.get((material, s), Fraction(0)) + (1 - least[s] - free[s]) * amount
                for s, amount in goods(question, packs).items()
            )
            for packs in covers(question, material)
            if not any(settled.get(question.choices[n].supplier) == 0 for n in packs)
        ]
        if not costs:
            return None
        total += min(costs)
    return total


def test_with_all_covers_known_its_first_bound_is_the_relaxed_cost(relaxing: Scripted) -> None:
    """Strong duality: what rows are worth at the cheapest gives a bound as high as that."""
    r = Random(3)
    for _ in range(60):
        question = by_chance(r)
        choice = with_all(question)
        choice.search(never, ENDLESS, D(0))
        program = relaxing.programs[-1]
        relaxed = Relaxation(program).ask({})
        assert relaxed is not None
        cost = Fraction(
            sum(c * v for c, v in zip(program.costs, relaxed.values, strict=True)), WORTH
        )
        bound, more = choice._priced(relaxed.worths, {})
        assert abs(bound - cost) <= 1
        assert not more


# Three of the first, with a freight of 7, or one of the second with 3.
TWO = asking([10], [agreed(7), agreed(3)], offer(0, 4, (1, 5)), offer(1, 10, (1, 18)))
HALF = WORTH // 2


def told(*ordered: int, covered: int = 0) -> Relaxed:
    """Of TWO, with both covers: how far each supplier is ordered from; its cover is as much."""
    return Relaxed((*ordered, 0, 0, 0, 0, *ordered), (covered, 0, 0, 0, 0))


def of_two() -> CoverChoice:
    choice = CoverChoice(TWO)
    assert choice.add(0, {0: 3})
    assert choice.add(0, {1: 1})
    return choice


def branching(settled: Settled) -> Relaxed:
    """Not whole is the first supplier, and without it the second."""
    if not settled:
        return told(HALF, HALF // 2)
    return told(0, HALF - 1) if settled == {0: 0} else told(WORTH, WORTH)


def test_what_is_nearest_to_a_half_is_settled_and_the_lowest_is_looked_at_next(
    relaxing: Scripted,
) -> None:
    """15 at first; without the first supplier 18, with it 22; at last 21, of the second alone."""
    relaxing.answers, heard = branching, []
    choice = of_two()
    choice.search(lambda packs: heard.append(list(packs)), ENDLESS, D(0))
    assert relaxing.asked == [{}, {0: 0}, {0: 1}, {0: 0, 1: 0}, {0: 0, 1: 1}]
    assert choice.bound == 21
    assert heard == [[3, 0], [0, 1], [0, 1], [0, 1], [0, 1]]
    assert len(relaxing.programs) == 1


@pytest.mark.parametrize(
    ("within", "cost", "looks", "bound"),
    [
        ("0", 21, 5, 21),
        ("0", 18, 3, 18),
        ("0.125", 24, 5, 21),
        ("0.25", 24, 3, 18),
        ("0.375", 24, 1, 15),
        ("0.24", 24, 5, 21),
    ],
)
def test_it_ends_with_a_plan_that_is_near_enough(
    relaxing: Scripted, within: str, cost: int, looks: int, bound: int
) -> None:
    relaxing.answers = branching
    choice = of_two()
    choice.search(lambda packs: cost, ENDLESS, D(within))
    assert (len(relaxing.asked), choice.bound) == (looks, bound)


@pytest.mark.parametrize(("until", "looks", "bound"), [(0, 0, 0), (10, 1, 15), (21, 3, 18)])
def test_it_ends_in_time(relaxing: Scripted, until: int, looks: int, bound: int) -> None:
    """Each look takes ten."""
    relaxing.answers = branching
    choice = of_two()
    choice.search(never, until, D(0))
    assert (len(relaxing.asked), choice.bound) == (looks, bound)


def test_what_has_no_answer_is_settled_at_the_bound_that_it_had(relaxing: Scripted) -> None:
    """22 with the first supplier; without it nothing is found among the covers, which says only
    that there may be others: at 15."""
    relaxing.answers = lambda settled: None if settled == {0: 0} else branching(settled)
    choice = of_two()
    choice.search(never, ENDLESS, D(0))
    assert (relaxing.asked, choice.bound) == ([{}, {0: 0}], 15)
    # Two that are settled: the lower counts, and nothing above it is looked at.
    relaxing.asked.clear()
    relaxing.answers = lambda settled: None if settled == {0: 0, 1: 0} else branching(settled)
    choice = of_two()
    choice.search(never, ENDLESS, D(0))
    assert (relaxing.asked[-1], choice.bound) == ({0: 0, 1: 0}, 18)


@pytest.mark.parametrize(
    ("part", "looks"),
    [(0, 1), (WORTH // 1000, 1), (WORTH // 1000 + 1, 5), (WORTH - WORTH // 1000, 1)],
)
def test_what_is_nearly_whole_needs_not_be_settled(
    relaxing: Scripted, part: int, looks: int
) -> None:
    relaxing.answers = lambda settled: branching(settled) if settled else told(part, WORTH)
    of_two().search(never, ENDLESS, D(0))
    assert len(relaxing.asked) == looks


def test_a_cover_that_helps_is_looked_at_again_at_first(relaxing: Scripted) -> None:
    """The second supplier's is known, and worth 20: the first's costs 15. Then nothing is new."""
    relaxing.answers = lambda settled: Relaxed((0, HALF, 0, 0, 0, 0, WORTH), (20 * WORTH, 0, 0, 0))
    choice = CoverChoice(TWO)
    choice.add(0, {1: 1})
    heard = []
    choice.search(lambda packs: heard.append(list(packs)), 25, D(0))
    assert relaxing.asked == [{}, {}, {1: 0}]
    assert heard == [[0, 1]] * 3
    assert not choice.add(0, {0: 3})
    # What costs as much as its material is worth helps nothing.
    relaxing.answers = lambda settled: Relaxed((0, WORTH, 0, 0, 0, 0, WORTH), (15 * WORTH, 0, 0, 0))
    choice = CoverChoice(TWO)
    choice.add(0, {1: 1})
    choice.search(never, ENDLESS, D(0))
    assert choice.add(0, {0: 3})


def test_a_program_is_made_anew_where_many_covers_are_new(relaxing: Scripted) -> None:
    choice = of_two()
    for more in range(1, 12):
        choice.search(never, ENDLESS, D(0))
        assert len(relaxing.programs) == 1
        assert choice.add(0, {0: 3 + more})
    choice.search(never, ENDLESS, D(0))
    assert [len(program.costs) for program in relaxing.programs] == [8, 19]


def test_a_cover_holds_its_need_and_is_used_in_time() -> None:
    first, second = offer(0, 4, (1, 5), usable=15), offer(1, 10, (1, 18), usable=14)
    choice = CoverChoice(asking([10, 10], [agreed()] * 2, first, second, offer(0, 1, (1, 5))))
    assert not choice.add(0, {0: 2})
    assert choice.add(0, {0: 3})
    assert not choice.add(0, {0: 3})
    assert choice.add(1, {0: 3})
    assert not choice.add(0, {0: 4})
    assert choice.add(0, {1: 1, 0: 1})
    assert not choice.add(0, {0: 1, 1: 1})
    assert not choice.add(0, {1: 1, 2: 5})
    assert choice.add(0, {1: 1, 2: 4})
    assert choice.add(0, {2: 10})


def test_of_each_material_the_cover_that_is_taken_most_is_told(relaxing: Scripted) -> None:
    """Of as much of two the later."""
    question = asking(
        [4, 2],
        [agreed()],
        offer(0, 1, (1, 5)),
        offer(0, 2, (1, 7)),
        offer(0, 1, (1, 2), material=1),
    )
    choice, heard = CoverChoice(question), []
    for material, packs in ((0, {0: 4}), (1, {2: 2}), (0, {0: 2, 1: 1}), (0, {1: 2}), (1, {2: 3})):
        choice.add(material, packs)
    taken = iter([(3, 5, 6, 2, 4), (3, 4, 1, 3, 5), (0, 0, 0, 0, 0)])
    relaxing.answers = lambda settled: Relaxed((0, 0, 0, *next(taken)), (0,) * 9)
    for _ in range(3):
        choice.search(lambda packs: heard.append(list(packs)), ENDLESS, D(0))
    assert heard == [[2, 1, 2], [0, 2, 3], [0, 2, 3]]


def test_much_is_measured_coarsely_and_bounds_all_the_same(relaxing: Scripted) -> None:
    """1000 in packs of 3 and of 7, at 2 and 6: in threes, 333 packs of the first hold 333; from 400
    on, in twos: 200 are held by a hundred. Below that each is counted."""
    relaxing.answers = lambda settled: Relaxed((0,) * 4, (0,) * 9)
    for need, bound in ((1000, 666), (400, 200), (399, 266)):
        choice = CoverChoice(asking([need], [agreed()], offer(0, 3, (1, 2)), offer(0, 7, (1, 6))))
        choice.add(0, {0: 400})
        choice.search(never, ENDLESS, D(0))
        assert choice.bound == bound
