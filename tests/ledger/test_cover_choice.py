"""Covers of several suppliers, and a bound that no plan costs less than, against trying all."""

import time
from collections.abc import Sequence
from decimal import Decimal as D
from itertools import product
from random import Random

from ledger.cover_choice import CoverChoice
from ledger.covers import Mix, Packs
from ledger.order_numbers import in_whole_numbers
from tests.ledger.order_cases import cases_tried

Sellers = Sequence[tuple[int, int, Sequence[Packs]]]


def price(packs: Packs, count: int) -> int | None:
    """What so many cost at the best tier that they reach."""
    return min((count * each for first, each in packs.tiers if first <= count), default=None)


def tried(need: int, sellers: Sellers) -> int:
    """The least cost of holding the need, by trying every number of every pack."""
    least = []
    offered = [packs for *_, some in sellers for packs in some]
    for counts in product(range(need + 4), repeat=len(offered)):
        taken = {p.choice: n for p, n in zip(offered, counts, strict=True) if n}
        costs = [price(packs, taken[packs.choice]) for packs in offered if packs.choice in taken]
        held = sum(packs.size * taken.get(packs.choice, 0) for packs in offered)
        if held >= need and None not in costs:
            least.append(paid(taken, sellers))
    return min(least)


def paid(taken: dict[int, int], sellers: Sellers) -> int:
    cost = 0
    for fee, part, offered in sellers:
        own = [packs for packs in offered if packs.choice in taken]
        cost += fee if own else 0
        cost += sum(part * (price(packs, taken[packs.choice]) or 0) for packs in own)
    return cost


def test_a_mix_is_the_cheapest_there_is() -> None:
    r = Random(7)
    for _ in range(150):
        need = r.randint(1, 7)
        tiers = [[(1, r.randint(50, 99))], [(1, 90), (3, 70)], [(2, r.randint(50, 99))]]
        packs = [Packs(n, r.randint(1, 5), tiers[r.randint(0, 2)]) for n in range(3)]
        sellers = [
            (r.choice([0, r.randint(1, 200)]), r.choice([0, 2, 5]), some)
            for some in (packs[:2], packs[2:])
        ]
        mix = Mix(need, sellers)
        assert mix.cost == tried(need, sellers)
        taken = mix.packs()
        assert sum(packs[choice].size * count for choice, count in taken.items()) >= need
        assert paid(taken, sellers) == mix.cost


def test_no_plan_costs_less_than_the_bound() -> None:
    """With nothing heard there is nothing to be near to, so that all is settled that can be."""
    close = 0
    for case, least in cases_tried(100, seed=8):
        question = in_whole_numbers(case.needs, case.offers, case.terms, D("0.01"))
        choice = CoverChoice(question)
        for place, offered in enumerate(question.choices):
            need, first = question.needs[offered.material], offered.tiers[0].first
            choice.add(offered.material, {place: max(first, -(-need // offered.size))})
        choice.search(lambda packs: None, time.monotonic_ns() + 60 * 10**9, D(0))
        if least is not None:
            assert choice.bound <= least * question.steps
            close += choice.bound * 2 > least * question.steps
    assert close > 50
