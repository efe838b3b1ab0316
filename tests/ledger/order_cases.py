"""Small order plans made by chance, and the cheapest by trying everything: slow and plain."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP
from decimal import Decimal as D
from functools import cache
from itertools import product
from math import ceil, prod
from random import Random

from ledger.order_advice import orders_line_by_line
from ledger.order_terms import Key, Need, PackOffer, PackPrice, Terms

MOST_TRIES = 6_000


def line_by_line(
    needs: Sequence[Need],
    offers: Sequence[PackOffer],
    terms: Mapping[Key, Terms],
    *,
    coin: D = D("0.01"),
) -> D:
    """What all the orders cost that take each material by itself."""
    orders = orders_line_by_line(needs, offers, terms, coin=coin)
    return sum((one.cost for one in orders), D(0))


@dataclass(frozen=True)
class Case:
    needs: list[Need]
    offers: list[PackOffer]
    terms: dict[str, Terms]
    without: frozenset[str] = frozenset()
    budget: D | None = None
    coin: D = D("0.01")

    def tries(self) -> int:
        return prod(self.most(offer) + 1 for offer in self.offers)

    def most(self, offer: PackOffer) -> int:
        """More packs than this help nothing: neither a need, nor an amount, nor a break."""
        if offer.supplier in self.without:
            return 0
        need = next(need for need in self.needs if need.material == offer.material)
        asked = self.terms[offer.supplier]
        worth = max(asked.minimum, asked.free_from or D(0))
        cheapest = min(step.price for step in offer.prices)
        reaching = ceil(worth / cheapest) if cheapest else 0
        return max(ceil(need.quantity / offer.size), reaching, offer.prices[-1].from_packs)


def cases(number: int, seed: int) -> Iterator[Case]:
    chance = Random(seed)
    while number:
        case = _case(chance)
        if case.tries() <= MOST_TRIES:
            number -= 1
            yield case


def limited(number: int, seed: int) -> Iterator[Case]:
    """Cases with what a plan has to keep to beside: a supplier that is left out, a budget, a coin
    of its currency other than a cent. Prices may be finer than the coin, as foreign ones are."""
    chance = Random(seed)
    for case in cases(number, seed):
        suppliers = sorted(case.terms)
        yield replace(
            case,
            without=frozenset(chance.sample(suppliers, 1) if chance.random() < 0.3 else ()),
            budget=_money(chance, 5, 150) if chance.random() < 0.4 else None,
            coin=D(chance.choice(["0.01", "0.05", "0.1", "1", "0.001"])),
        )


def _case(r: Random) -> Case:
    materials, suppliers = r.randint(1, 3), r.randint(1, 3)
    needs = [
        Need(
            f"material {n}",
            D(r.randint(1, 90)) / 10,
            D(r.randint(1, 20)) / 10 if r.random() < 0.4 else None,
            D(r.randint(0, 30)) / 10 if r.random() < 0.3 else D(0),
        )
        for n in range(materials)
    ]
    terms = {
        f"supplier {n}": Terms(
            minimum=_money(r, 0, 60) if r.random() < 0.5 else D(0),
            flat=_money(r, 0, 30) if r.random() < 0.7 else D(0),
            per_kg=_money(r, 0, 3) if r.random() < 0.4 else D(0),
            free_from=_money(r, 10, 90) if r.random() < 0.6 else None,
        )
        for n in range(suppliers)
    }
    offers = [_offer(r, n, materials, suppliers) for n in range(r.randint(materials, 4))]
    offers += [
        _offer(r, len(offers) + n, 1, suppliers, need.material)
        for n, need in enumerate(needs)
        if need.material not in {offer.material for offer in offers}
    ]
    return Case(needs, offers, {o.supplier: terms[o.supplier] for o in offers})


def _offer(r: Random, n: int, materials: int, suppliers: int, of: object = None) -> PackOffer:
    size = r.choice([D(1), D("2.5"), D(5), D("0.75"), D("4.5"), D(r.randint(5, 60)) / 10])
    first = r.choice([1, 1, 1, 2, 3])
    steps = [first, *sorted(r.sample(range(first + 1, first + 6), r.randint(0, 2)))]
    price = _money(r, 5, 30) + 1
    prices = [PackPrice(step, _cents(price * D(r.randint(55, 100)) / 100)) for step in steps]
    # Most fall as breaks do; now and then a price rises, as in a list with a mistake in it.
    if r.random() < 0.9:
        falling = sorted((step.price for step in prices), reverse=True)
        prices = [PackPrice(step, each) for step, each in zip(steps, falling, strict=True)]
    shelf = D(r.randint(2, 24)) if r.random() < 0.6 else None
    mass = size * D(r.choice([1000, 997, 1030]))
    material = of or f"material {r.randrange(materials)}"
    return PackOffer(
        n, f"supplier {r.randrange(suppliers)}", material, size, tuple(prices), mass, shelf
    )


def _money(r: Random, low: int, high: int) -> D:
    return D(r.randint(100 * low, 100 * high)) / 100


def _cents(amount: D) -> D:
    return amount.quantize(D("0.01"))


@cache
def cases_tried(number: int, seed: int, limits: bool = False) -> list[tuple[Case, D | None]]:
    """Cases with the least cost of each. To try everything takes longest by far and is the same
    whatever the plan does, so that many runs of it ask only once."""
    made = limited if limits else cases
    return [(case, cheapest_of_all(case)) for case in made(number, seed)]


def cheapest_of_all(case: Case) -> D | None:
    """The least cost over every number of packs of every offer; None if nothing covers."""
    costs = (
        cost_of(case, packs) for packs in product(*(range(case.most(o) + 1) for o in case.offers))
    )
    return min((cost for cost in costs if cost is not None), default=None)


def cost_of(case: Case, packs: tuple[int, ...]) -> D | None:
    """What they cost by the words of the terms, written anew here; None if they break one. What
    may be spent is not asked."""
    held: dict[object, D] = defaultdict(D)
    goods: dict[object, D] = defaultdict(D)
    mass: dict[object, D] = defaultdict(D)
    for offer, count in zip(case.offers, packs, strict=True):
        if not count:
            continue
        price = None
        for step in offer.prices:
            if count >= step.from_packs:
                price = step.price
        if price is None:
            return None
        held[offer.material] += count * offer.size
        goods[offer.supplier] += count * price
        mass[offer.supplier] += count * offer.mass_g
    for need in case.needs:
        if held[need.material] < need.quantity or _expires(case, packs, need):
            return None
    cost = D(0)
    for supplier, amount in goods.items():
        asked = case.terms[str(supplier)]
        if amount < asked.minimum:
            return None
        cost += amount
        if asked.free_from is None or amount < asked.free_from:
            coins = asked.per_kg * mass[supplier] / 1000 / case.coin
            cost += asked.flat + coins.quantize(D(1), ROUND_HALF_UP) * case.coin
    return cost


def _expires(case: Case, packs: tuple[int, ...], need: Need) -> bool:
    """Month by month of shelf life: what has expired by then cannot be more than was used."""
    if need.use_per_month is None:
        return False
    own = [
        (offer.shelf_months, count * offer.size)
        for offer, count in zip(case.offers, packs, strict=True)
        if count and offer.material == need.material and offer.shelf_months is not None
    ]
    return any(
        sum(held for ends, held in own if ends <= months)
        > max(D(0), need.use_per_month * months - need.in_store)
        for months, _ in own
    )
