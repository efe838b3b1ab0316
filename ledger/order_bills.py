"""What chosen packs cost, exactly, and which terms they break: the judge of every order plan."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from ledger.money import round_to_step
from ledger.order_terms import MASS_IN_KG, Key, Need, PackOffer, Terms


@dataclass(frozen=True, slots=True)
class PlanLine:
    """So many packs of an offer: what is in them, and what each and all of them cost."""

    offer: PackOffer
    packs: int
    price: Decimal

    @property
    def quantity(self) -> Decimal:
        return self.packs * self.offer.size

    @property
    def amount(self) -> Decimal:
        return self.packs * self.price


@dataclass(frozen=True, slots=True)
class SupplierOrder:
    """What is ordered of one supplier."""

    supplier: Key
    lines: tuple[PlanLine, ...]
    goods: Decimal
    freight: Decimal

    @property
    def cost(self) -> Decimal:
        return self.goods + self.freight


def freight_of(goods: Decimal, mass_g: Decimal, terms: Terms, coin: Decimal) -> Decimal:
    """The freight of an order: none from the free amount on, else flat and by mass.

    Rounded once to the coin, halves up, as bills commonly are.
    """
    if terms.free_from is not None and goods >= terms.free_from:
        return Decimal(0)
    by_mass = terms.per_kg * mass_g / MASS_IN_KG
    return terms.flat + round_to_step(by_mass, coin, ROUND_HALF_UP)


def bill(
    packs: Mapping[PackOffer, int], terms: Mapping[Key, Terms], coin: Decimal
) -> tuple[SupplierOrder, ...]:
    """The orders that these packs make, supplier by supplier, in the order of the packs.

    Raises Invalid for fewer packs of an offer than are sold.
    """
    of_supplier: dict[Key, list[PlanLine]] = defaultdict(list)
    for offer, count in packs.items():
        if count:
            of_supplier[offer.supplier].append(PlanLine(offer, count, offer.price_of(count)))
    return tuple(
        _order(supplier, lines, terms[supplier], coin) for supplier, lines in of_supplier.items()
    )


def total(orders: Iterable[SupplierOrder]) -> Decimal:
    return sum((order.cost for order in orders), Decimal(0))


def keeps_the_terms(
    packs: Mapping[PackOffer, int], needs: Sequence[Need], terms: Mapping[Key, Terms]
) -> bool:
    """Whether the packs cover every need, nothing would expire, and every least is reached."""
    chosen = {offer: count for offer, count in packs.items() if count}
    if any(count < offer.prices[0].from_packs for offer, count in chosen.items()):
        return False
    goods: dict[Key, Decimal] = defaultdict(Decimal)
    for offer, count in chosen.items():
        goods[offer.supplier] += count * offer.price_of(count)
    if any(amount < terms[supplier].minimum for supplier, amount in goods.items()):
        return False
    of_material: dict[Key, list[PackOffer]] = defaultdict(list)
    for offer in chosen:
        of_material[offer.material].append(offer)
    return all(_covered(need, of_material[need.material], chosen) for need in needs)


def _covered(need: Need, offers: list[PackOffer], packs: Mapping[PackOffer, int]) -> bool:
    """What expires first is used first: of all that expires by some day, no more than is used."""
    if sum((packs[offer] * offer.size for offer in offers), Decimal(0)) < need.quantity:
        return False
    usable = {offer: most for offer in offers if (most := offer.usable(need)) is not None}
    return all(
        sum((packs[one] * one.size for one, within in usable.items() if within <= most), Decimal(0))
        <= most
        for most in usable.values()
    )


def _order(supplier: Key, lines: list[PlanLine], terms: Terms, coin: Decimal) -> SupplierOrder:
    goods = sum((line.amount for line in lines), Decimal(0))
    mass = sum((line.packs * line.offer.mass_g for line in lines), Decimal(0))
    return SupplierOrder(supplier, tuple(lines), goods, freight_of(goods, mass, terms, coin))
