"""The program of an order plan: what packs mean in it, and what its least cost is."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal as D
from fractions import Fraction
from math import ceil, floor
from random import Random

import pytest

from ledger.order_model import Model, model_of
from ledger.order_numbers import Agreed, Choice, Question, in_whole_numbers
from ledger.solver import Found, Program, solve
from tests.ledger.order_cases import Case, cases, cases_tried, cost_of
from tests.ledger.order_questions import asking, offer

CENT = D("0.01")
FREE = Agreed(0, 0, by_mass=False, free_from=None)


def holds(program: Program, values: Sequence[int]) -> bool:
    """Whether they are between their bounds, and every row is what it asks for at least."""
    within = all(0 <= v <= most for v, most in zip(values, program.highest, strict=True))
    sums = [
        sum(
            factor * values[column]
            for column, factor in zip(
                program.columns[first:last], program.factors[first:last], strict=True
            )
        )
        for first, last in zip(program.starts, program.starts[1:], strict=False)
    ]
    return within and all(map(int.__ge__, sums, program.least))


def costs(program: Program, values: Sequence[int]) -> int:
    return sum(cost * value for cost, value in zip(program.costs, values, strict=True))


def plans(case: Case, question: Question, number: int, r: Random) -> Iterator[tuple[int, ...]]:
    """Packs that break no term, and of which each is wanted for a need, a break or an amount."""
    for _ in range(number):
        packs = tuple(r.choice([0, r.randint(0, case.most(offer))]) for offer in case.offers)
        if cost_of(case, packs) is not None and all(
            count <= _wanted(question, choice, count)
            for choice, count in zip(question.choices, packs, strict=True)
        ):
            yield packs


def _wanted(question: Question, choice: Choice, count: int) -> int:
    tier = next((t for t in choice.tiers if t.first <= count <= (t.last or count)), choice.tiers[0])
    worth = question.agreed[choice.supplier].worth_reaching
    reaching = ceil(Fraction(worth, tier.price)) if tier.price else 0
    return max(tier.first, ceil(Fraction(question.needs[choice.material], choice.size)), reaching)


def test_packs_have_values_that_keep_all_rows_and_cost_what_they_cost() -> None:
    """Without the solver: every plan that breaks no term is an answer, at its own cost."""
    r, tried, beyond = Random(4), 0, 0
    for case in cases(80, seed=4):
        question = in_whole_numbers(case.needs, case.offers, case.terms, CENT)
        for packs in plans(case, question, 25, r):
            cost = (cost_of(case, packs) or D(0)) * question.steps
            for in_packs in (range(len(question.agreed)), ()):
                model = model_of(question, in_packs)
                values = model.values(packs)
                if tuple(model.packs(values)) != packs:
                    # What is beyond the need has no columns of packs here.
                    assert not in_packs
                    beyond += 1
                    continue
                tried += 1
                assert holds(model.program, values)
                assert costs(model.program, values) == cost
                assert model.beyond(values) == {}
    assert tried > 200
    assert beyond > 20


def solved(question: Question, in_packs: Collection[int] = (0, 1, 2)) -> tuple[Model, Found]:
    model = model_of(question, in_packs)
    return model, solve(model.program, seconds=Fraction(600))


def test_its_least_cost_is_that_of_the_cheapest_plan() -> None:
    """In packs it is the same; where amounts are of any size it is no more, and the same as well
    where nothing is spent on them."""
    whole = 0
    for case, least in cases_tried(40, seed=9):
        question = in_whole_numbers(case.needs, case.offers, case.terms, CENT)
        model, found = solved(question)
        if least is None:
            assert found.impossible
            continue
        assert found.bound == least * question.steps
        assert found.values is not None
        assert cost_of(case, tuple(model.packs(found.values))) == least
        model, found = solved(question, ())
        assert found.bound <= least * question.steps
        assert found.values is not None
        if not model.beyond(found.values):
            whole += 1
            assert found.bound == least * question.steps
    assert whole > 5


def answer(question: Question, in_packs: Collection[int] = (0, 1, 2)) -> tuple[int, list[int]]:
    model, found = solved(question, in_packs)
    assert found.values is not None
    return found.bound, model.packs(found.values)


@pytest.mark.parametrize(
    ("prices", "expected"),
    [
        ([(1, 5)], (15, [3])),
        ([(1, 5), (4, 3)], (12, [4])),
        ([(1, 5), (4, 4)], (15, [3])),
        ([(1, 9), (2, 8), (3, 7), (4, 6)], (21, [3])),
        ([(4, 5)], (20, [4])),
        ([(2, 5)], (15, [3])),
        ([(1, 5), (3, 7)], (21, [3])),
        ([(1, 0)], (0, None)),
    ],
)
def test_ten_of_packs_of_four(
    prices: list[tuple[int, int]], expected: tuple[int, list[int] | None]
) -> None:
    """Three are enough; four, where these cost less or are the fewest that are sold."""
    bound, packs = answer(asking([10], [FREE], offer(0, 4, *prices)))
    assert bound == expected[0]
    assert expected[1] in (packs, None)


@pytest.mark.parametrize("least", [*range(0, 70, 3), 199, 200, 201])
def test_a_least_amount_is_spent_to_the_last_step_or_in_packs(least: int) -> None:
    """Three packs of 15 together; each more is 5."""
    agreed = [Agreed(least, 7, by_mass=False, free_from=None)]
    question = asking([10], agreed, offer(0, 4, (1, 5)))
    model, found = solved(question, ())
    assert found.bound == max(15, least) + 7
    assert found.values is not None
    assert model.packs(found.values) == [3]
    assert model.beyond(found.values) == ({0: least - 15} if least > 15 else {})
    packs = max(3, -(-least // 5))
    assert answer(question) == (5 * packs + 7, [packs])


def test_an_amount_at_a_price_that_falls() -> None:
    """A least of 40: eight at 5 or, from four on, at 3, fourteen for 42."""
    agreed = [Agreed(40, 0, by_mass=False, free_from=None)]
    assert answer(asking([10], agreed, offer(0, 4, (1, 5), (4, 3)))) == (42, [14])
    assert answer(asking([10], agreed, offer(0, 4, (1, 5), (4, 3))), ())[0] == 40
    assert answer(asking([10], agreed, offer(0, 4, (1, 5), (9, 3)))) == (40, [8])
    # No more than is used in time: of 24 six packs at 5 do not come to 40.
    short = asking([10], agreed, offer(0, 4, (1, 5), usable=24))
    assert solved(short)[1].impossible
    assert answer(replace(short, agreed=(replace(agreed[0], minimum=30),))) == (30, [6])


def test_freight_is_free_from_an_amount_on() -> None:
    """15 and 7 of freight; 20 with a pack more, from where freight is free."""

    def least(flat: int, free_from: int | None, minimum: int = 0) -> tuple[int, list[int]]:
        agreed = [Agreed(minimum, flat, by_mass=False, free_from=free_from)]
        return answer(asking([10], agreed, offer(0, 4, (1, 5))))

    assert least(7, 20) == (20, [4])
    assert least(7, 18) == (20, [4])
    assert least(7, 21) == (22, [3])
    assert least(4, 20) == (19, [3])
    assert least(7, None) == (22, [3])
    assert least(7, 15) == (15, [3])
    assert least(7, 0) == (15, [3])
    assert least(11, 35, minimum=25) == (35, [7])
    assert least(9, 35, minimum=25) == (34, [5])


def test_freight_is_spared_of_nobody_who_is_not_ordered_from() -> None:
    """Freight of 20 would be free from 5 on; three packs elsewhere are 15, and no freight."""
    spares = Agreed(0, 20, by_mass=False, free_from=5)
    question = asking([10], [spares, FREE], offer(0, 4, (1, 9)), offer(1, 4, (1, 5)))
    assert answer(question) == answer(question, ()) == (15, [0, 3])
    model = model_of(question, ())
    assert costs(model.program, model.values([3, 0])) == 27
    assert costs(model.program, model.values([0, 3])) == 15
    # At the very amount it is free.
    model = model_of(replace(question, agreed=(replace(spares, free_from=27), FREE)), ())
    assert costs(model.program, model.values([3, 0])) == 27


def test_an_amount_at_the_least_price_there_is() -> None:
    agreed = [Agreed(20, 0, by_mass=False, free_from=None)]
    assert answer(asking([10], agreed, offer(0, 4, (1, 1)))) == (20, [20])


def freight(by_mass: Fraction, *, flat: int = 0, free_from: int | None = None) -> Question:
    """Ten of packs of four at 50, for coins of five steps."""
    choice = replace(offer(0, 4, (1, 50)), by_mass=by_mass)
    return Question((10,), (choice,), (Agreed(0, flat, True, free_from),), 100, 5)


@pytest.mark.parametrize(
    "by_mass",
    [Fraction(n, d) for d in (1, 2, 3, 7, 1000) for n in (1, 4, 5, 6, 19, 2499, 2500, 2501)],
)
def test_freight_by_mass_is_the_nearest_coin_halves_up(by_mass: Fraction) -> None:
    """Three packs: 2.5 steps are half a coin and make one."""
    coins = floor(3 * by_mass / 5 + Fraction(1, 2))
    assert answer(freight(by_mass, flat=11)) == (161 + 5 * coins, [3])
    model = model_of(freight(by_mass), (0,))
    assert costs(model.program, model.values([3])) == 150 + 5 * coins
    assert holds(model.program, model.values([3]))


def test_freight_by_mass_is_free_with_all_of_it() -> None:
    """Three packs at 50 and 20 of freight each; from 200 on there is none."""
    assert answer(freight(Fraction(20))) == (210, [3])
    assert answer(freight(Fraction(20), free_from=200)) == (200, [4])
    assert answer(freight(Fraction(10), flat=15, free_from=200)) == (195, [3])
    assert answer(freight(Fraction(10), flat=25, free_from=200)) == (200, [4])
    assert answer(freight(Fraction(10), flat=25, free_from=150)) == (150, [3])


def test_of_what_expires_no_more_is_bought_than_is_used_by_then() -> None:
    """Of ten at most 4 by the first day and 8 by the second: so one pack of each of these, since
    two of the first beside the second were 9. What keeps is dear."""
    first, second = offer(0, 2, (1, 1), usable=4), offer(0, 5, (1, 4), usable=8)
    keeps = offer(0, 1, (1, 9))
    assert answer(asking([10], [FREE], first, second, keeps)) == (32, [1, 1, 3])
    assert answer(asking([10], [FREE], second, keeps, first)) == (32, [1, 3, 1])
    assert solved(asking([10], [FREE], first, second))[1].impossible
    # The same day holds for both: one of either would be 5.
    both = offer(0, 2, (1, 5), usable=4), offer(0, 3, (1, 1), usable=4)
    assert answer(asking([4], [FREE], *both)) == (10, [2, 0])
    # A break that is not reached in time.
    assert answer(asking([3], [FREE], offer(0, 2, (1, 5), (3, 1), usable=5))) == (10, [2])
    assert answer(asking([3], [FREE], offer(0, 2, (1, 5), (3, 1), usable=6))) == (3, [3])
    # A pack that holds more than is used in time is none.
    assert solved(asking([1], [FREE], offer(0, 5, (1, 1), usable=4)))[1].impossible
    assert solved(asking([1], [FREE], offer(0, 2, (3, 1), usable=5)))[1].impossible
    assert answer(asking([1], [FREE], offer(0, 2, (3, 1), usable=6))) == (3, [3])
