"""The order plan against trying everything, and what it says where nothing can be ordered."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal as D
from random import Random
from types import SimpleNamespace
from typing import Any

import pytest

from ledger import order_plan as planning
from ledger import order_stages
from ledger.errors import Invalid
from ledger.order_advice import advice
from ledger.order_bills import keeps_the_terms
from ledger.order_numbers import Question
from ledger.order_plan import OrderPlan, order_plan
from ledger.order_stages import Judge, Outcome
from ledger.order_terms import (
    BudgetTooSmall,
    Need,
    NothingCovers,
    PackOffer,
    PackPrice,
    PlanNotFound,
    Terms,
    Why,
)
from tests.ledger.order_cases import Case, cases, cases_tried, line_by_line

CASES = 500
# No test here is of how fast the machine is.
PLENTY = D(600)


def planned(case: Case, *, seconds: D = PLENTY, within: D = D(0)) -> OrderPlan:
    return order_plan(
        case.needs,
        case.offers,
        case.terms,
        without=case.without,
        coin=case.coin,
        seconds=seconds,
        within=within,
    )


def least(case: Case) -> D | None:
    try:
        plan = planned(case)
    except NothingCovers:
        return None
    assert plan.proven
    assert plan.bound == plan.cost
    assert keeps_the_terms(plan.packs, case.needs, case.terms)
    return plan.cost


def test_it_costs_what_trying_everything_costs() -> None:
    """Some without a supplier, in other coins too; a budget refuses what costs more, none else."""
    tried = cases_tried(CASES, seed=1, limits=True)
    assert len(tried) == CASES
    assert sum(cost is None for _, cost in tried) < CASES / 3
    refused = left_out = 0
    for case, cost in tried:
        assert least(case) == cost
        left_out += bool(case.without)
        if cost is None or case.budget is None:
            continue
        options: dict[str, Any] = {"without": case.without, "coin": case.coin, "seconds": PLENTY}
        asked = (case.needs, case.offers, case.terms)
        if cost <= case.budget:
            assert order_plan(*asked, budget=case.budget, **options).cost == cost
            continue
        refused += 1
        with pytest.raises(BudgetTooSmall) as too_small:
            order_plan(*asked, budget=case.budget, **options)
        assert too_small.value.facts == {"least": cost, "bound": cost, "proven": True}
    assert min(refused, left_out) > CASES / 20


def test_the_stages_come_to_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is meant for hundreds of offers, of a few; amounts beyond the need included."""
    monkeypatch.setattr(order_stages, "_FEW", 0)
    monkeypatch.setattr(order_stages, "_MANY", 0)
    compared = [(least(case), cost) for case, cost in cases_tried(100, seed=2)]
    assert [pair for pair in compared if pair[0] != pair[1]] == []


def test_ordering_together_never_costs_more_than_ordering_apart() -> None:
    """Every need by itself, with the same terms."""
    compared = 0
    for case in cases(150, seed=3):
        apart = [least(replace(case, needs=[need])) for need in case.needs]
        together = least(case)
        if None not in apart:
            compared += 1
            assert together is not None
            assert together <= sum((cost for cost in apart if cost is not None), D(0))
    assert compared > 100


def wide(seed: int, materials: int = 40, suppliers: int = 4) -> Case:
    """More than can be tried, less than takes long."""
    r = Random(seed)
    needs = [Need(m, D(r.randint(50, 20_000))) for m in range(materials)]
    offers = [
        PackOffer(
            (m, s, size),
            s,
            m,
            D(size),
            (
                PackPrice(1, cost := D(r.randint(10 * size, 20 * size)) / 1000 + 1),
                PackPrice(4, cost * D("0.9")),
            ),
            D(size),
        )
        for m in range(materials)
        for s in range(suppliers)
        if s == m % suppliers or r.random() < 0.5
        for size in (500, 1000, 5000)
    ]
    terms = {
        s: Terms(D(r.randint(50, 200)), D(r.randint(5, 20)), D("0.25"), D(r.randint(200, 900)))
        for s in range(suppliers)
    }
    return Case(needs, offers, terms)  # type: ignore[arg-type]


@pytest.mark.parametrize("seconds", ["0", "0.2", "2"])
def test_at_its_deadline_it_answers_with_its_bound(seconds: str) -> None:
    case = wide(4)
    plan = planned(case, seconds=D(seconds))
    assert keeps_the_terms(plan.packs, case.needs, case.terms)
    assert 0 <= plan.bound <= plan.cost
    assert plan.proven == (plan.bound == plan.cost)
    assert plan.gap == (plan.cost - plan.bound) / plan.cost


def test_within_a_part_of_the_least_is_enough_where_that_is_asked() -> None:
    case = wide(5)
    near = planned(case, within=D("0.01"))
    assert near.gap <= D("0.01")
    assert near.cost <= line_by_line(case.needs, case.offers, case.terms)


def test_the_best_step_is_never_dearer_to_use_than_the_plan() -> None:
    told = 0
    for case in cases(120, seed=6):
        try:
            plan = planned(case)
        except NothingCovers:
            continue
        for line in advice(plan, case.needs, case.terms):
            [own] = [step for step in line.steps if step.packs == line.planned]
            [order] = [one for one in plan.orders if one.supplier == line.offer.supplier]
            assert own.cost == order.cost
            assert [step.packs for step in line.steps] == sorted({s.packs for s in line.steps})
            if line.best is not None:
                told += 1
                assert line.best.expiring == 0
                assert line.best.per_usable is not None
                assert own.expiring or line.best.per_usable <= (own.per_usable or 0)
    assert told >= 5


def one(
    material: str, price: str, supplier: str = "mill", *, shelf_months: D | None = None
) -> PackOffer:
    key, prices = (material, price, supplier), (PackPrice(1, D(price)),)
    return PackOffer(key, supplier, material, D(1000), prices, shelf_months=shelf_months)


FREE = {"mill": Terms(), "press": Terms()}


def test_it_says_which_material_nobody_offers() -> None:
    with pytest.raises(NothingCovers) as refused:
        order_plan([Need("clay", D(1)), Need("wax", D(1))], [one("clay", "4")], FREE)
    assert refused.value.facts == {"materials": ["wax"], "reason": Why.NOT_OFFERED}


def test_it_says_what_only_a_supplier_offers_that_is_left_out() -> None:
    offers = [one("clay", "4"), one("wax", "5", "press")]
    needs = [Need("clay", D(1)), Need("wax", D(1))]
    with pytest.raises(NothingCovers) as refused:
        order_plan(needs, offers, FREE, without={"press"})
    assert refused.value.facts == {"materials": ["wax"], "reason": Why.LEFT_OUT}
    dearer = [*offers, one("wax", "6")]
    assert order_plan(needs, dearer, FREE, without={"press"}).cost == 10


def test_it_says_what_would_expire() -> None:
    needs = [Need("clay", D(500), D(50)), Need("wax", D(500))]
    offers = [one("clay", "4", shelf_months=D(12)), one("wax", "5")]
    with pytest.raises(NothingCovers) as refused:
        order_plan(needs, offers, FREE)
    assert refused.value.facts == {"materials": ["clay"], "reason": Why.WOULD_EXPIRE}


def test_it_says_where_a_least_amount_asks_for_more_than_is_used() -> None:
    needs = [Need("clay", D(500), D(100))]
    offers = [one("clay", "4", shelf_months=D(12))]
    with pytest.raises(NothingCovers) as refused:
        order_plan(needs, offers, {"mill": Terms(minimum=D(20))})
    assert refused.value.facts == {"materials": ["clay"], "reason": Why.LEAST_AMOUNTS}


def test_it_says_what_budget_would_do() -> None:
    needs = [Need("clay", D(2500))]
    with pytest.raises(BudgetTooSmall) as refused:
        order_plan(needs, [one("clay", "4")], FREE, budget=D("11.99"))
    assert refused.value.facts == {"least": 12, "bound": 12, "proven": True}
    assert order_plan(needs, [one("clay", "4")], FREE, budget=D(12)).cost == 12


def test_what_is_in_store_is_used_first() -> None:
    """12 months at 100 g are 1,200 g: with 200 g in store one pack is used up, with 300 g none."""
    offers = [one("clay", "4", shelf_months=D(12)), one("clay", "9", "press")]
    need = Need("clay", D(1500), D(100), in_store=D(200))
    with pytest.raises(NothingCovers):
        order_plan([need], offers[:1], FREE)
    assert order_plan([need], offers, FREE).cost == 13
    assert order_plan([replace(need, in_store=D(300))], offers, FREE).cost == 18
    assert order_plan([replace(need, in_store=D(300), sure=D(1500))], offers, FREE).cost == 13


def test_nothing_needed_is_nothing_ordered() -> None:
    plan = order_plan([Need("clay", D(0))], [one("clay", "4")], FREE)
    assert plan.orders == ()
    assert (plan.cost, plan.gap, plan.proven) == (D(0), D(0), True)


@pytest.mark.parametrize(
    ("needs", "offers"),
    [
        ([Need("clay", D(-1))], [one("clay", "4")]),
        ([Need("clay", D(1)), Need("clay", D(2))], [one("clay", "4")]),
        ([Need("clay", D(1))], [one("clay", "4"), one("clay", "4")]),
        ([Need("clay", D(1))], [one("clay", "-4")]),
        ([Need("clay", D(1))], [replace(one("clay", "4"), prices=())]),
        ([Need("clay", D(1))], [replace(one("clay", "4"), size=D(0))]),
        ([Need("clay", D(1))], [replace(one("clay", "4"), prices=(PackPrice(0, D(4)),))]),
    ],
)
def test_figures_that_cannot_be_meant(needs: list[Need], offers: list[PackOffer]) -> None:
    with pytest.raises(Invalid):
        order_plan(needs, offers, FREE)
    with pytest.raises(Invalid):
        order_plan([Need("clay", D(1))], [one("clay", "4")], {"mill": Terms(flat=D(-1))})


def test_each_of_what_would_expire_is_named_whatever_its_terms_are() -> None:
    """Clay and salt would; wax keeps, but is not sold in so small amounts as are used."""
    needs = [Need("clay", D(500), D(50)), Need("wax", D(500), D(500)), Need("salt", D(1), D(1))]
    offers = [
        one("clay", "4", shelf_months=D(12)),
        one("clay", "5", "press", shelf_months=D(19)),
        one("wax", "5", "press", shelf_months=D(2)),
        one("salt", "3", shelf_months=D(999)),
    ]
    terms = {"mill": Terms(flat=D(3)), "press": Terms(minimum=D(20))}
    with pytest.raises(NothingCovers) as refused:
        order_plan(needs, offers, terms)
    assert refused.value.facts == {"materials": ["clay", "salt"], "reason": Why.WOULD_EXPIRE}
    with pytest.raises(NothingCovers) as refused:
        order_plan([*needs[1:2], Need("oil", D(1))], [*offers, one("oil", "1")], terms)
    assert refused.value.facts == {"materials": ["wax"], "reason": Why.LEAST_AMOUNTS}


def test_what_is_not_needed_is_not_looked_for() -> None:
    """Nobody offers salt, and none is needed; half a gram of clay is."""
    needs = [Need("salt", D(0)), Need("clay", D("0.5"))]
    plan = order_plan(needs, [one("wax", "1"), one("clay", "4")], FREE)
    assert [(offer.material, packs) for offer, packs in plan.packs.items()] == [("clay", 1)]


def test_freight_is_rounded_to_the_coin_that_is_said() -> None:
    """A kilogram at 0.03: the dearer of 4.00 and 4.02 where the coin is five cents."""
    offers = [replace(one("clay", "4"), mass_g=D(1000)), one("clay", "4.02", "press")]
    terms = {"mill": Terms(per_kg=D("0.03")), "press": Terms()}
    assert order_plan([Need("clay", D(1))], offers, terms).cost == D("4.02")
    dear = order_plan([Need("clay", D(1))], offers[:1], terms, coin=D("0.05"))
    assert (dear.cost, dear.bound, dear.orders[0].freight) == (D("4.05"), D("4.05"), D("0.05"))


class Searched:
    """In place of the search: it judges packs, and answers as the test says."""

    def __init__(self, outcome: Outcome, *judged: list[int]) -> None:
        self.asked: list[Any] = []
        self.costs: list[int | None] = []
        self.first: Sequence[int] | None = None
        self.now = 5 * 10**9
        self._outcome = outcome
        self._judged = judged

    def __call__(
        self,
        question: Question,
        judge: Judge,
        *,
        until: int,
        within: D,
        first: Sequence[int] | None,
    ) -> Outcome:
        self.first = first
        self.asked += [question.steps, until, within]
        self.costs += [judge(packs) for packs in self._judged]
        self.now += 2_345_678_901
        return self._outcome


def planned_by(searched: Searched, monkeypatch: pytest.MonkeyPatch, **more: Any) -> OrderPlan:
    """Clay at 4 and, at 3.99 and a freight of 0.5, of the press; 1500 g of it are needed."""
    monkeypatch.setattr(planning, "search", searched)
    monkeypatch.setattr(planning, "time", SimpleNamespace(monotonic_ns=lambda: searched.now))
    terms = {"mill": Terms(), "press": Terms(flat=D("0.5"))}
    offers = [one("clay", "4"), one("clay", "3.99", "press")]
    return order_plan([Need("clay", D(1500))], offers, terms, **more)


def test_packs_are_judged_by_what_they_would_be_billed(monkeypatch: pytest.MonkeyPatch) -> None:
    """In steps of a cent. One pack alone is too little."""
    judged = [2, 0], [0, 2], [1, 1], [1, 0]
    searched = Searched(Outcome([2, 0], 790, False), *judged)
    plan = planned_by(searched, monkeypatch, seconds=D("1.5"), within=D("0.1"))
    assert searched.costs == [800, 848, 849, None]
    assert searched.asked == [100, 6_500_000_000, D("0.1")]
    assert (plan.cost, plan.bound, plan.proven) == (D(8), D("7.9"), False)
    assert (plan.gap, plan.seconds) == (D("0.0125"), D("2.346"))
    assert [(order.supplier, order.cost) for order in plan.orders] == [("mill", D(8))]
    # A bound above the cost is rounded, and none.
    plan = planned_by(Searched(Outcome([2, 0], 801, False)), monkeypatch)
    assert (plan.bound, plan.proven) == (D(8), True)
    searched = Searched(Outcome([2, 0], 790, False))
    planned_by(searched, monkeypatch)
    assert searched.asked == [100, 15_000_000_000, 0]


def test_it_begins_from_the_packs_that_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three of the press, and none of an offer that is not among them."""
    searched = Searched(Outcome([2, 0], 790, False))
    planned_by(searched, monkeypatch)
    assert searched.first is None
    planned_by(searched, monkeypatch, start={one("clay", "3.99", "press"): 3})
    assert searched.first == [0, 3]


def test_a_budget_below_an_unproven_cost_hears_both(monkeypatch: pytest.MonkeyPatch) -> None:
    unproven = Outcome([2, 0], 790, False)
    with pytest.raises(BudgetTooSmall) as refused:
        planned_by(Searched(unproven), monkeypatch, budget=D("7.95"))
    assert refused.value.facts == {"least": 8, "bound": D("7.9"), "proven": False}
    assert planned_by(Searched(unproven), monkeypatch, budget=D(8)).cost == 8


def test_a_time_that_finds_nothing_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(PlanNotFound):
        planned_by(Searched(Outcome(None, 0, False)), monkeypatch)
