"""What to order: many materials of several suppliers, the needs of twenty-five makers as one.

The floor is the solver by itself on the bare question: packs that cover, least amounts, freight and
where it is free, written down as directly as that can be. It knows no breaks and no shelf life, and
buys nothing beyond a need, so it does somewhat less than ours.
"""

import random
import statistics
import time
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from ledger.order_plan import OrderPlan, order_plan
from ledger.order_terms import Need, PackOffer, PackPrice, Terms
from tests.benchmarks.bench import Options
from tests.benchmarks.report import Row, say
from tests.ledger.order_cases import line_by_line
from tests.running import Running

MAKERS = 25
GRAMS = (500, 1000, 5000, 25000)
# What a kilogram costs by the pack it comes in.
BY_PACK = {500: 1.15, 1000: 1.0, 5000: 0.84, 25000: 0.70}
NEAR = Decimal("0.01")
BARE_TARGET, SECONDS_TARGET, DEADLINE, SAVING_TARGET = 1.3, 2.0, 10, 9.0


@dataclass(frozen=True)
class Question:
    """Needs, offers and terms as the plan takes them."""

    needs: list[Need]
    offers: list[PackOffer]
    terms: dict[int, Terms]


def measure(server: Running, options: Options) -> list[Row]:
    """Ours beside the bare question; the server is not asked."""
    asked = [question(100, 5, seed) for seed in range(options.rounds)]
    say("  100 materials x 5 suppliers x 4 packs …")
    return [
        *_against_the_bare(asked, NEAR, "to 1 %"),
        *_against_the_bare(asked, Decimal(0), "to proof, or 30 s"),
        *_large(options),
    ]


def question(materials: int, suppliers: int, seed: int) -> Question:
    """Prices and needs by chance; terms so that they bite at every size."""
    r = random.Random(seed)
    grams = [
        max(
            50,
            round(
                1000 * sum(r.lognormvariate(-0.9, 0.9) * (r.random() < 0.35) for _ in range(MAKERS))
            ),
        )
        for _ in range(materials)
    ]
    per_kg = [r.lognormvariate(2.7, 0.8) for _ in range(materials)]
    offers = []
    for material in range(materials):
        sellers = [one for one in range(suppliers) if r.random() < 0.6] or [r.randrange(suppliers)]
        for supplier in sellers:
            factor = r.uniform(0.85, 1.2)
            for size in r.sample(GRAMS, max(1, sum(r.random() < 0.8 for _ in GRAMS))):
                price = (
                    per_kg[material] * factor * BY_PACK[size] * r.uniform(0.97, 1.03) * size / 1000
                )
                step = PackPrice(1, Decimal(max(1, round(100 * price))) / 100)
                key = (material, supplier, size)
                offers.append(PackOffer(key, supplier, material, Decimal(size), (step,)))
    share = sum(cost * need / 1000 for cost, need in zip(per_kg, grams, strict=True)) / suppliers

    def part(low: float, high: float) -> Decimal:
        return Decimal(round(100 * share * r.uniform(low, high))) / 100

    terms = {
        one: Terms(part(0.15, 0.6), part(0.02, 0.08), free_from=part(0.5, 1.6))
        for one in range(suppliers)
    }
    return Question([Need(n, Decimal(one)) for n, one in enumerate(grams)], offers, terms)


def planned(asked: Question, within: Decimal, seconds: int) -> OrderPlan:
    return order_plan(
        asked.needs, asked.offers, asked.terms, within=within, seconds=Decimal(seconds)
    )


def bare(asked: Question, within: Decimal, seconds: int) -> None:
    """The solver on the question as it stands, with as many threads as ours has."""
    import highspy

    h = highspy.Highs()  # type: ignore[no-untyped-call]
    h.silent()
    for name, value in (("threads", 1), ("mip_rel_gap", float(within)), ("mip_abs_gap", 0.0049)):
        h.setOptionValue(name, value)
    h.setOptionValue("time_limit", float(seconds))
    whole = highspy.HighsVarType.kInteger
    most = [-(-int(asked.needs[o.material].quantity) // int(o.size)) for o in asked.offers]
    prices = [float(offer.prices[0].price) for offer in asked.offers]
    packs = [h.addVariable(0, top, cost, whole) for top, cost in zip(most, prices, strict=True)]
    cover: dict[int, list[Any]] = {}
    goods: dict[int, list[Any]] = {}
    for offer, count, price in zip(asked.offers, packs, prices, strict=True):
        cover.setdefault(offer.material, []).append(int(offer.size) * count)
        goods.setdefault(offer.supplier, []).append(price * count)
    ordered = {}
    for supplier, amounts in goods.items():
        terms = asked.terms[supplier]
        ordered[supplier] = h.addVariable(0, 1, float(terms.flat), whole)
        free = h.addVariable(0, 1, -float(terms.flat), whole)
        amount = h.qsum(amounts)
        h.addConstr(amount >= float(terms.minimum) * ordered[supplier])
        h.addConstr(amount >= float(terms.free_from or 0) * free)
        h.addConstr(free <= ordered[supplier])
    for need in asked.needs:
        h.addConstr(h.qsum(cover[need.material]) >= int(need.quantity))
    for offer, count, top in zip(asked.offers, packs, most, strict=True):
        h.addConstr(count <= top * ordered[offer.supplier])
    h.run()


def _against_the_bare(asked: list[Question], within: Decimal, how: str) -> list[Row]:
    ours, floor, saved, gaps = [], [], [], []
    for one in asked:
        start = time.process_time()
        bare(one, within, 30)
        floor.append(time.process_time() - start)
        start = time.process_time()
        plan = planned(one, within, 30)
        ours.append(time.process_time() - start)
        cheapest = line_by_line(one.needs, one.offers, one.terms)
        saved.append(float(100 * (cheapest / plan.cost - 1)))
        gaps.append(float(100 * plan.gap))
    ratio = statistics.median(ours) / statistics.median(floor)
    work = f"what to order, 100 x 5 x 4, {MAKERS} makers, {how}"
    told = Row(
        f"{work} (processor time): the bare question",
        f"{statistics.median(ours):.2f} s, gap {max(gaps):.2f} % at most",
        f"{statistics.median(floor):.2f} s",
        f"{ratio:.2f}",
        f"<= {BARE_TARGET}",
        ratio <= BARE_TARGET,
    )
    saving = statistics.median(saved)
    line = Row(
        f"{work}: what line by line costs more",
        f"{saving:.1f} %",
        target=f">= {SAVING_TARGET:.0f} %",
        met=saving >= SAVING_TARGET,
    )
    return [told, line]


def _large(options: Options) -> list[Row]:
    say("  400 materials x 8 suppliers x 4 packs …")
    times, gaps, late = [], [], []
    for seed in range(options.rounds):
        asked = question(400, 8, seed)
        start = time.process_time()
        gaps.append(planned(asked, NEAR, 30).gap)
        times.append(time.process_time() - start)
        start = time.perf_counter()
        plan = planned(asked, Decimal(0), DEADLINE)
        late.append(time.perf_counter() - start)
        assert plan.bound <= plan.cost
    median = statistics.median(times)
    work = f"what to order, 400 x 8 x 4, {MAKERS} makers"
    return [
        Row(
            f"{work}, to 1 % (processor time)",
            f"{median:.2f} s, gap {float(100 * max(gaps)):.2f} % at most",
            target=f"<= {SECONDS_TARGET:.0f} s",
            met=median <= SECONDS_TARGET,
        ),
        Row(
            f"{work}, an answer with its bound by the deadline",
            f"{max(late):.1f} s at most",
            target=f"<= {DEADLINE} s and a half",
            met=max(late) <= DEADLINE + 0.5,
        ),
    ]
