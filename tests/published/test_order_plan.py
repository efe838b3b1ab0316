"""The order plan against published problems that can be put to it."""

import json
from decimal import Decimal as D

import pytest

from ledger.order_advice import advice
from ledger.order_plan import order_plan
from ledger.order_terms import Need, PackOffer, PackPrice, Terms
from tests.ledger.order_cases import line_by_line
from tests.published.rows import Row, published_rows

KG = D(1000)


@pytest.mark.parametrize("row", published_rows("planning.csv", "dynamic lot size"))
def test_lots_of_coming_periods(row: Row) -> None:
    """A period's order is a supplier with its freight; a later period's demand is one pack of it,
    which costs what keeping it until then does (Krarup and Bilde 1977, from memory)."""
    inputs = row.inputs
    demand = row.numbers("demand")
    keeping = row.number("holding" if "holding" in inputs else "holding_cost")
    setups = inputs["setup"] if "setup" in inputs else [inputs["fixed_cost"]] * len(demand)
    prices = inputs.get("purchase_cost", [0] * len(demand))
    offers = [
        PackOffer(
            key=(made, used),
            supplier=made,
            material=used,
            size=D(1),
            prices=(PackPrice(1, demand[used] * (D(prices[made]) + keeping * (used - made))),),
        )
        for made in range(len(demand))
        for used in range(made, len(demand))
    ]
    plan = order_plan(
        [Need(period, D(1)) for period in range(len(demand))],
        offers,
        {period: Terms(flat=D(str(setup))) for period, setup in enumerate(setups)},
    )
    expected = json.loads(row.expected, parse_float=D)
    if isinstance(expected, list):
        # A published plan of which there may be others, so that only its cost must be ours.
        least = cost_of(expected, demand, setups, keeping)
    else:
        least = expected["cost"] if isinstance(expected, dict) else expected
    assert plan.proven
    assert plan.cost == least
    lots = [D(0)] * len(demand)
    for offer in plan.packs:
        lots[offer.supplier] += demand[offer.material]
    assert sum(lots) == sum(demand)
    if isinstance(expected, dict):
        assert lots == [D(one) for one in expected["plan"]]


def cost_of(lots: list[int], demand: list[D], setups: list[int], keeping: D) -> D:
    """A setup for each lot, and keeping what is left at the end of each period."""
    left = cost = D(0)
    for lot, wanted, setup in zip(lots, demand, setups, strict=True):
        left += lot - wanted
        assert left >= 0
        cost += (setup if lot else 0) + keeping * left
    assert left == 0
    return cost


def test_more_than_is_needed_may_cost_almost_nothing() -> None:
    """38 kg are needed: up to 24 kg at 5.20, to 49 at 4.60, from 50 at 4.10, from 75 at 3.80;
    freight 28, free from 200; 6 kg are used in a month, and it keeps for nine.

    Worked by hand: 38 x 4.60 + 28 = 202.80, 44 x 4.60 = 202.40, 50 x 4.10 = 205.00, and
    75 x 3.80 = 285.00, which is 5.28 for each of the 54 kg that are used in time.
    """
    prices = [(1, "5.20"), (25, "4.60"), (50, "4.10"), (75, "3.80")]
    steps = tuple(PackPrice(first, D(price)) for first, price in prices)
    offer = PackOffer("sack", "mill", "clay", KG, steps, KG, D(9))
    terms = {"mill": Terms(flat=D(28), free_from=D(200))}
    needs = [Need("clay", 38 * KG, 6 * KG)]
    plan = order_plan(needs, [offer], terms)
    assert (plan.cost, plan.packs, plan.proven) == (D("202.40"), {offer: 44}, True)
    assert line_by_line(needs, [offer], terms) == D("202.80")
    [told] = advice(plan, needs, terms)
    costs = {step.packs: step.cost for step in told.steps}
    assert [costs[packs] for packs in (38, 44, 50, 75)] == [
        D("202.80"),
        D("202.40"),
        D("205.00"),
        D("285.00"),
    ]
    assert told.best is not None
    assert (told.best.packs, told.best.more, told.best.extra) == (50, 12 * KG, D("2.20"))
    assert round(told.best.months or 0, 2) == D("8.33")
    [wasteful] = [step for step in told.steps if step.expiring]
    assert (wasteful.packs, wasteful.expiring) == (75, 21 * KG)
    assert round((wasteful.per_usable or 0) * KG, 2) == D("5.28")
