"""The program of a choice among covers, and its bound: against trying all covers."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal as D
from fractions import Fraction
from itertools import product
from math import ceil
from random import Random

import pytest

from ledger.cover_choice import CoverChoice
from ledger.order_numbers import Agreed, Question
from ledger.solver import WORTH, Relaxation, solve
from tests.ledger.cover_cases import ENDLESS, Scripted, Settled, never
from tests.ledger.order_questions import agreed, asking, offer

Cover = Mapping[int, int]


def by_chance(r: Random) -> Question:
    """Up to two materials of two suppliers, whose prices fall."""
    needs = [r.randint(1, 6) for _ in range(r.randint(1, 2))]
    terms = [
        agreed(
            r.choice([0, r.randint(1, 40)]),
            r.choice([0, r.randint(1, 90)]),
            r.choice([None, 0, r.randint(1, 120)]),
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
def relaxing(monkeypatch: pytest.MonkeyPatch) -> Scripted:
    return Scripted.instead_of_the_solver(monkeypatch)


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
