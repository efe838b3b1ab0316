"""An order plan's question in whole numbers, so that nothing is rounded on the way to the solver.

Money is counted in the largest step that all prices are whole in, at least the coin; each material
in the largest measure that all of its packs are whole in. Needs are then rounded up and what would
be used in time is rounded down, which loses nothing: only whole packs are bought.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor, gcd, lcm

from ledger.order_terms import MASS_IN_KG, Key, Need, PackOffer, Terms


@dataclass(frozen=True, slots=True)
class Tier:
    """Packs from `first` to `last` (None for any more) cost so much each."""

    first: int
    last: int | None
    price: int


@dataclass(frozen=True, slots=True)
class Choice:
    """An offer: which material of which supplier, its pack's size, its tiers, the freight by mass
    of a pack, and what of it would be used in time."""

    material: int
    supplier: int
    size: int
    tiers: tuple[Tier, ...]
    by_mass: Fraction = Fraction(0)
    usable: int | None = None

    def price(self, packs: int) -> int:
        """What so many packs cost together."""
        tier = [one for one in self.tiers if one.first <= packs][-1]
        return packs * tier.price


@dataclass(frozen=True, slots=True)
class Agreed:
    """A supplier's terms; `free_from` is None where freight never is free."""

    minimum: int
    flat: int
    by_mass: bool
    free_from: int | None

    @property
    def worth_reaching(self) -> int:
        """The amount of goods beyond which nothing is bought for its own sake."""
        return max(self.minimum, self.free_from or 0)


@dataclass(frozen=True, slots=True)
class Question:
    """What is needed of each material, what can be chosen, and each supplier's terms.

    Money is in steps: so many make a unit of the currency, and so many its smallest coin.
    """

    needs: tuple[int, ...]
    choices: tuple[Choice, ...]
    agreed: tuple[Agreed, ...]
    steps: int
    steps_a_coin: int


def in_whole_numbers(
    needs: Sequence[Need],
    offers: Sequence[PackOffer],
    terms: Mapping[Key, Terms],
    coin: Decimal,
) -> Question:
    """The question of these needs and offers; its choices stand in the order of the offers."""
    places = {need.material: place for place, need in enumerate(needs)}
    suppliers = {
        name: place for place, name in enumerate(dict.fromkeys(o.supplier for o in offers))
    }
    money = _steps(_amounts(offers, [terms[name] for name in suppliers], coin))
    measures = _measures(offers)
    choices = []
    for offer in offers:
        measure, asked = measures[offer.material], terms[offer.supplier]
        usable = offer.usable(needs[places[offer.material]])
        choices.append(
            Choice(
                material=places[offer.material],
                supplier=suppliers[offer.supplier],
                size=_in(offer.size, measure),
                tiers=_tiers(offer, money),
                by_mass=_freight(offer, asked, money),
                usable=None if usable is None else floor(Fraction(usable) / measure),
            )
        )
    return Question(
        tuple(ceil(Fraction(n.quantity) / measures.get(n.material, 1)) for n in needs),
        tuple(choices),
        tuple(_agreed(terms[name], money) for name in suppliers),
        money,
        int(Fraction(coin) * money),
    )


def _amounts(
    offers: Iterable[PackOffer], terms: Iterable[Terms], coin: Decimal
) -> Iterable[Decimal]:
    yield coin
    for offer in offers:
        yield from (step.price for step in offer.prices)
    for asked in terms:
        yield from (asked.minimum, asked.flat, asked.free_from or Decimal(0))


def _steps(amounts: Iterable[Decimal]) -> int:
    """How many steps a unit of money has, so that all of these are whole."""
    return lcm(*(amount.as_integer_ratio()[1] for amount in amounts))


def _measures(offers: Iterable[PackOffer]) -> dict[Key, Fraction]:
    sizes: dict[Key, list[Fraction]] = defaultdict(list)
    for offer in offers:
        sizes[offer.material].append(Fraction(offer.size))
    found = {}
    for material, of_packs in sizes.items():
        below = lcm(*(size.denominator for size in of_packs))
        found[material] = Fraction(gcd(*(int(size * below) for size in of_packs)), below)
    return found


def _in(amount: Decimal, measure: Fraction) -> int:
    """An amount in a measure in which it is whole; there are many, and Fraction would be slow."""
    above, below = amount.as_integer_ratio()
    return above * measure.denominator // (below * measure.numerator)


def _freight(offer: PackOffer, asked: Terms, money: int) -> Fraction:
    """The freight by mass of a pack, exactly, in steps."""
    if not asked.per_kg:
        return Fraction(0)
    return Fraction(asked.per_kg) * Fraction(offer.mass_g) * money / int(MASS_IN_KG)


def _tiers(offer: PackOffer, money: int) -> tuple[Tier, ...]:
    firsts = [step.from_packs for step in offer.prices]
    lasts = [first - 1 for first in firsts[1:]] + [None]
    prices = [_in(step.price, Fraction(1, money)) for step in offer.prices]
    return tuple(map(Tier, firsts, lasts, prices))


def _agreed(terms: Terms, money: int) -> Agreed:
    free = terms.free_from
    return Agreed(
        minimum=int(Fraction(terms.minimum) * money),
        flat=int(Fraction(terms.flat) * money),
        by_mass=terms.per_kg > 0,
        free_from=None if free is None else int(Fraction(free) * money),
    )
