"""What a round is told by the real optimiser: orders of several put together, and fair splits."""

from collections.abc import Hashable, Mapping
from dataclasses import replace
from random import Random
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger import round_market
from ledger.order_bills import bill, keeps_the_terms, total
from ledger.order_plan import order_plan
from ledger.order_terms import Need, PackOffer, PackPrice, Terms
from ledger.round_game import Whole
from ledger.round_market import Market
from ledger.round_pledges import Pledge, needs_of
from ledger.round_reckoning import reckon
from tests.ledger.toy_rounds import CENT, D

FAR, NEAR, GLASS = (UUID(int=number) for number in range(201, 204))
NORTH, MILL = (UUID(int=number) for number in (1, 2))


def material(number: int) -> UUID:
    return UUID(int=100 + number)


OIL = material(0)


def oil(*prices: tuple[int, str]) -> PackOffer:
    """Packs of a kilogram, each price from so many packs on."""
    steps = tuple(PackPrice(packs, D(price)) for packs, price in prices)
    return PackOffer("oil", FAR, OIL, D(1000), steps)


def plans(offer: PackOffer, terms: Terms, *packs: int) -> list[Whole]:
    return [Whole(bill({offer: count}, {FAR: terms}, CENT), D(0), False) for count in packs]


def as_one(offer: PackOffer, terms: Terms, *packs: int) -> tuple[int, D, D]:
    """The packs of several orders as one, and what it costs beside them."""
    market = Market([offer], {FAR: terms}, CENT)
    (order,) = market.as_one(plans(offer, terms, *packs))
    (line,) = order.lines
    assert keeps_the_terms({offer: line.packs}, [], {FAR: terms})
    return (
        line.packs,
        order.cost,
        total(one for p in plans(offer, terms, *packs) for one in p.orders),
    )


def test_orders_of_several_as_one_cost_no_more() -> None:
    flat = Terms(flat=D(28), free_from=D(200))
    assert as_one(oil((1, "40.00")), flat, 1, 2) == (3, D(148), D(176))
    assert as_one(oil((1, "40.00")), flat, 1) == (1, D(68), D(68))
    # Six are 150.00 by the break, below the 200.00 that make freight free, and with it 178.00.
    assert as_one(oil((1, "40.00"), (6, "25.00")), flat, 1, 5) == (6, D(178), D(268))
    # Both were free of freight by themselves. Two more packs are dearer than nothing, and cheaper
    # than freight of 90.00.
    dear = Terms(flat=D(90), free_from=D(200))
    assert as_one(oil((1, "40.00"), (10, "12.00")), dear, 5, 5) == (10, D(210), D(400))
    worse = Terms(flat=D(900), free_from=D(200))
    assert as_one(oil((1, "40.00"), (10, "12.00")), worse, 5, 5) == (17, D(204), D(400))
    # The least amount is kept, whatever it costs to reach it.
    least = Terms(minimum=D(100))
    assert as_one(oil((1, "50.00"), (4, "20.00")), least, 2, 2) == (5, D(100), D(200))
    assert as_one(oil((1, "0.00")), Terms(flat=D(3)), 1, 1) == (2, D(3), D(6))


def test_freight_by_mass_is_in_whole_coins_of_the_currency() -> None:
    """A kilogram at 7.4: in yen 7, in dollars 7.40."""
    for coin, cost in ((D(1), D(1007)), (CENT, D("1007.40"))):
        offer = replace(oil((1, "1000")), mass_g=D(1000))
        market = Market([offer], {FAR: Terms(per_kg=D("7.4"))}, coin)
        assert market.plan([Need(OIL, D(1000))], D(600)).cost == cost


def test_orders_of_several_suppliers_stay_apart() -> None:
    other = PackOffer("wax", NEAR, material(1), D(500), (PackPrice(1, D(7)),))
    terms: dict[Hashable, Terms] = {FAR: Terms(flat=D(5)), NEAR: Terms()}
    market = Market([oil((1, "9")), other], terms, CENT)
    apart = [Whole(bill({offer: 2}, terms, CENT), D(0), True) for offer in market.offers]
    assert [order.cost for order in market.as_one(apart)] == [D(23), D(14)]
    assert market.as_one([]) == ()


def test_a_maker_s_own_market_is_asked_for_it_alone() -> None:
    own = Market([oil((1, "8.00"))], {FAR: Terms()}, CENT)
    market = Market([oil((1, "9.00"))], {FAR: Terms()}, CENT, {NORTH: own})
    needs = [Need(OIL, D(2000))]
    assert market.plan(needs, D(5)).cost == 18
    found = market.own(NORTH, needs, D(5))
    assert found is not None
    assert found.cost == 16
    assert market.own(MILL, needs, D(5)) is None


def test_of_many_offers_a_plan_that_is_near_is_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of what is needed, more than 300 are many; a plan begins with the packs of one for more."""
    asked: list[dict[str, Any]] = []
    monkeypatch.setattr(round_market, "order_plan", lambda *_, **facts: asked.append(facts))
    one = oil((1, "9.00"))
    for number in (300, 301):
        offers = [replace(one, key=n) for n in range(number)]
        others = [replace(one, key=-1, material=material(1))]
        market = Market([*offers, *others], {FAR: Terms()}, CENT)
        market.plan([Need(OIL, D(1))], D(3), bill({one: 2}, {FAR: Terms()}, CENT))
    few, many = asked
    assert (few["within"], many["within"]) == (0, D("0.0002"))
    assert few["start"] == {one: 2}
    assert few["seconds"] == 3


@st.composite
def markets(draw: st.DrawFn) -> tuple[Market, list[list[Need]]]:
    """Two or three materials of three suppliers with breaks, freight and least amounts, and what
    two to four makers need of them."""
    materials = draw(st.integers(2, 3))
    terms: dict[Hashable, Terms] = {
        supplier: Terms(
            minimum=D(draw(st.sampled_from((0, 0, 40)))),
            flat=D(draw(st.integers(0, 4000))) / 100,
            free_from=draw(st.sampled_from((None, D(80), D(200)))),
        )
        for supplier in (FAR, NEAR, GLASS)
    }
    offers = []
    for number in range(draw(st.integers(materials, 7))):
        price = draw(st.integers(100, 9000))
        steps = [PackPrice(1, D(price) / 100)]
        if draw(st.booleans()):
            steps.append(PackPrice(draw(st.integers(2, 6)), D(price * 7 // 10) / 100))
        size, supplier = (
            draw(st.sampled_from((500, 1000, 3000, 5000))),
            draw(st.sampled_from(list(terms))),
        )
        offers.append(
            PackOffer(
                number, UUID(str(supplier)), material(number % materials), D(size), tuple(steps)
            )
        )
    needs = [
        [
            Need(material(n), D(draw(st.integers(1, 20_000))))
            for n in range(materials)
            if n == 0 or draw(st.booleans())
        ]
        for _ in range(draw(st.integers(2, 4)))
    ]
    return Market(offers, terms, CENT), needs


@settings(deadline=None, max_examples=12)
@given(markets())
def test_ordering_together_never_costs_more_than_apart(
    asked: tuple[Market, list[list[Need]]],
) -> None:
    """Nor do the orders of each put together, nor does any maker."""
    market, needs = asked
    pledges = [
        Pledge(UUID(int=maker), need.material, need.quantity, False)
        for maker, own in enumerate(needs, 1)
        for need in own
    ]
    apart = [market.plan(own, D(60)) for own in needs]
    together = market.plan(needs_of(pledges), D(60))
    assert together.proven
    assert all(plan.proven for plan in apart)
    costs = sum(plan.cost for plan in apart)
    assert together.cost <= total(market.as_one(apart)) <= costs
    found = reckon(pledges, market, market.materials, coin=CENT, seconds=D(60))
    assert found.proven
    assert found.together == together.cost
    assert found.apart == costs
    for share, alone in zip(found.shares, apart, strict=True):
        assert share.amount <= share.alone_cost == alone.cost


def many(makers: int, materials: int, seed: int) -> tuple[Market, list[Pledge]]:
    """Three suppliers with four packs of each material, and pledges of a third of all."""
    chance = Random(seed)
    offers, by_pack = [], {500: 115, 1000: 100, 5000: 84, 25_000: 70}
    for number in range(materials):
        a_kilogram = chance.randint(300, 4000)
        for supplier in (FAR, NEAR, GLASS):
            factor = chance.randint(85, 120)
            for size, part in by_pack.items():
                price = D(a_kilogram * factor * part * size // 10**7) / 100
                key = (number, supplier, size)
                offers.append(
                    PackOffer(key, supplier, material(number), D(size), (PackPrice(1, price),))
                )
    terms: dict[Hashable, Terms] = {
        one: Terms(minimum=D(60), flat=D(12 + 9 * n), free_from=D(250 + 90 * n))
        for n, one in enumerate((FAR, NEAR, GLASS))
    }
    pledges = [
        Pledge(UUID(int=maker), material(number), D(chance.randint(100, 6000)), False)
        for maker in range(1, makers + 1)
        for number in range(materials)
        if chance.random() < 0.35
    ]
    return Market(offers, terms, CENT), pledges


def test_a_round_of_eight_makers_and_twenty_materials() -> None:
    """In whatever time there is, nobody pays more than alone, and what is not proven is bounded."""
    market, pledges = many(8, 20, 7)
    found = reckon(pledges, market, market.materials, coin=CENT, seconds=D(8))
    split, plan = found.split, found.plan
    assert split is not None
    assert plan is not None
    assert 0 < plan.bound <= plan.cost < found.apart
    assert sum(share.amount for share in found.shares) == found.together == plan.cost
    assert (split.by_size[0], split.by_size[-1]) == (8, 1)
    assert split.groups == sum(split.by_size) <= split.all_groups
    assert 0 <= found.gap <= 1
    for share in found.shares:
        own = [pledge for pledge in pledges if pledge.maker == share.maker]
        assert share.amount <= share.alone_cost
        assert keeps_the_terms(packs_of(share.alone), needs_of(own), market.terms)
    assert keeps_the_terms(packs_of(plan), needs_of(pledges), market.terms)


def packs_of(plan: object) -> Mapping[PackOffer, int]:
    orders = getattr(plan, "orders", ())
    return {line.offer: line.packs for order in orders for line in order.lines}


def test_a_plan_that_begins_with_packs_is_never_dearer_than_they_are() -> None:
    """With no time for more than a look."""
    market, pledges = many(4, 30, 3)
    needs = needs_of(pledges)
    best = order_plan(needs, market.offers, market.terms, seconds=D(3))
    costs = []
    for begin in (None, best.packs):
        found = order_plan(needs, market.offers, market.terms, seconds=D(0), start=begin)
        costs.append(found.cost)
    assert costs[1] <= min(costs[0], best.cost)
