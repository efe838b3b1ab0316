"""The cheapest packs of one supplier for one material, against trying everything."""

from itertools import product
from random import Random

import pytest

from ledger.covers import Cover, cheapest_cover
from ledger.order_numbers import Choice, Tier

PAIL = Choice(0, 0, 10, (Tier(2, 4, 21), Tier(5, None, 20)))
BAG = Choice(0, 0, 3, (Tier(1, None, 8),))


def choice(r: Random) -> Choice:
    """A pack whose price never rises with the quantity."""
    firsts = sorted(r.sample(range(1, 6), r.randint(1, 3)))
    price, tiers = r.randint(5, 30), []
    for first, following in zip(firsts, (*firsts[1:], None), strict=True):
        tiers.append(Tier(first, following - 1 if following else None, price))
        price -= r.randint(0, price // 3)
    return Choice(0, 0, r.randint(1, 7), tuple(tiers))


def least(need: int, choices: list[Choice], within: int | None) -> int | None:
    """Every number of packs up to what holds the need alone, or up to what may be held."""
    most = [
        max(one.tiers[-1].first, -(-need // one.size)) if within is None else within // one.size
        for one in choices
    ]
    costs = []
    for packs in product(*(range(count + 1) for count in most)):
        bought = [pair for pair in zip(choices, packs, strict=True) if pair[1]]
        held = sum(one.size * count for one, count in bought)
        sold = all(count >= one.tiers[0].first for one, count in bought)
        if sold and held >= need and (within is None or held <= within):
            costs.append(sum(one.price(count) for one, count in bought))
    return min(costs, default=None)


def must_hold(found: Cover, need: int, choices: list[Choice], within: int | None) -> None:
    held = sum(choices[which].size * count for which, count in found.packs.items())
    assert held >= need
    assert within is None or held <= within
    assert all(count >= choices[which].tiers[0].first for which, count in found.packs.items())
    assert found.cost == sum(choices[which].price(count) for which, count in found.packs.items())


@pytest.mark.parametrize("bounded", [False, True])
def test_it_costs_what_trying_everything_costs(bounded: bool) -> None:
    r = Random(7)
    told = 0
    for _ in range(150):
        choices = [choice(r) for _ in range(r.randint(1, 3))]
        need = r.randint(0, 18)
        within = need + r.randint(0, 4) if bounded else None
        found, cheapest = cheapest_cover(need, choices, within), least(need, choices, within)
        assert (found and found.cost) == cheapest
        if found:
            told += 1
            must_hold(found, need, choices, within)
    assert told > 100


def test_covers_worked_by_hand() -> None:
    """29 are three pails at 21; ten bags are 80. 49 are five pails at 20, and not four and three
    bags. 22 are two pails and a bag for 50, three pails for 63, eight bags for 64."""
    assert cheapest_cover(29, [BAG, PAIL]) == Cover(63, {1: 3})
    assert cheapest_cover(49, [BAG, PAIL]) == Cover(100, {1: 5})
    assert cheapest_cover(22, [BAG, PAIL]) == Cover(50, {0: 1, 1: 2})
    assert cheapest_cover(22, [PAIL]) == Cover(63, {0: 3})
    assert cheapest_cover(9, [PAIL]) == Cover(42, {0: 2})
    assert cheapest_cover(0, [BAG, PAIL]) == Cover(0, {})


def test_no_more_than_may_be_held() -> None:
    """Of at most 21 three pails are too many, and no bags hold 20 or 22; seven hold 21 for 56."""
    assert cheapest_cover(21, [BAG, PAIL], within=21) == Cover(56, {0: 7})
    assert cheapest_cover(20, [BAG, PAIL], within=20) == Cover(42, {1: 2})
    assert cheapest_cover(22, [BAG, PAIL], within=22) is None
    assert cheapest_cover(22, [BAG, PAIL], within=23) == Cover(50, {0: 1, 1: 2})
    assert cheapest_cover(1, [PAIL], within=19) is None
    assert cheapest_cover(1, [], within=5) is None
    assert cheapest_cover(5, [BAG], within=4) is None


@pytest.mark.parametrize("longest", [10, 40])
def test_a_coarser_measure_holds_as_well(longest: int) -> None:
    """It may be dearer, and what would not fit is told as nothing."""
    r = Random(8)
    told = 0
    for _ in range(200):
        choices = [choice(r) for _ in range(r.randint(1, 3))]
        need = r.randint(1, 40)
        within = need + r.randint(5, 20) if r.random() < 0.5 else None
        found, exact = (cheapest_cover(need, choices, within, most) for most in (longest, 10**6))
        if found:
            told += 1
            must_hold(found, need, choices, within)
            assert exact is not None
            assert found.cost >= exact.cost
    assert told > 40
