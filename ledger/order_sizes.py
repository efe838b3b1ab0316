"""How much of a material to order at a time, by what was used and what keeping it costs.

This is advice on a usual order of one material alone. What several materials share, as freight and
least orders, is the order plan's, and so is what planned batches need.
"""

from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Final
from uuid import UUID

from ledger.access import Actor, day_of, material_for
from ledger.errors import (
    Conflict,
    Invalid,
    Sentence,
)
from ledger.lot_sizing import Break, cost_at, economic_quantity_with_breaks
from ledger.models import Material
from ledger.offer_prices import price_at
from ledger.offer_reading import OfferOn, offers_on
from ledger.plan_offers import pack_prices
from ledger.roles import Verb
from ledger.usage_reading import read_usage

WEEKS: Final = 26
LEAST_WEEKS: Final = 4
DAYS_A_YEAR: Final = Decimal("365.25")
HUNDRED: Final = Decimal(100)


@dataclass(frozen=True, slots=True)
class OrderSize:
    """So many packs at a time of an offer, and what that costs in a year: goods, orders, keeping.

    `exact` is the quantity before whole packs; `days` is how long an order lasts. `by_shelf_life`
    says that it would be more, if the goods kept for longer.
    """

    offer: OfferOn
    packs: int
    quantity: Decimal
    exact: Decimal
    cost: Decimal
    days: Decimal
    by_shelf_life: bool


@dataclass(frozen=True, slots=True)
class OrderSizes:
    """The sizes by offer, the cheapest first; `use` is of a year, in grams or pieces."""

    material: Material
    use: Decimal
    sizes: list[OrderSize]


def order_sizes(
    actor: Actor,
    *,
    material: UUID | str,
    per_order: Decimal,
    keeping_percent: Decimal,
    now: datetime,
) -> OrderSizes:
    """The economic order quantity of each offer of the day, in whole packs; nothing is kept.

    `per_order` is what an order costs beside its goods, such as freight and the work; to keep goods
    costs `keeping_percent` of their price in a year. Use is that of the last 26 weeks. Raises
    NotFound, Forbidden, Invalid for a material that is not stocked, and Conflict where too little
    was used to tell or nobody offers it.
    """
    actor.must(Verb.SEE_OFFERS)
    found = material_for(actor, material)
    if not found.stocked:
        raise Invalid(Sentence("{name} is not stocked, so it is not ordered.", name=found.name))
    read = read_usage(actor, material=found.id, period="week", periods=WEEKS, now=now)
    if len(read.series) < LEAST_WEEKS or not any(read.series):
        raise Conflict(
            Sentence(
                "Too little of {name} has been used to tell: fewer than {least_weeks} weeks.",
                name=found.name,
                least_weeks=LEAST_WEEKS,
            )
        )
    use = sum(read.series, Decimal(0)) / len(read.series) * DAYS_A_YEAR / 7
    offers = offers_on(actor, day=day_of(actor, now), materials=[found.id], measured=False)
    if not offers:
        raise Conflict(
            Sentence(
                "Nobody offers {name} today: write what a supplier asks for it.", name=found.name
            )
        )
    rate = keeping_percent / HUNDRED
    sizes = [_size(one, use=use, per_order=per_order, rate=rate) for one in offers if one.price]
    return OrderSizes(found, use, sorted(sizes, key=lambda one: one.cost))


def _size(one: OfferOn, *, use: Decimal, per_order: Decimal, rate: Decimal) -> OrderSize:
    """The cheaper of the whole packs next to the exact quantity, within what is used in time."""
    least, *_ = prices = pack_prices(one)
    breaks = [Break(step.from_packs * one.pack, step.price / one.pack) for step in prices]
    exact = economic_quantity_with_breaks(
        breaks, use=use, per_order=per_order, keeping_rate=rate
    ).quantity
    near = {_whole(exact / one.pack, way) for way in (ROUND_FLOOR, ROUND_CEILING)}
    most = None
    if one.shelf_life_days is not None:
        most = max(least.from_packs, _whole(use * one.shelf_life_days / DAYS_A_YEAR / one.pack))
    packs_near = {max(least.from_packs, packs) for packs in near}
    within = {packs if most is None else min(packs, most) for packs in packs_near}

    def cost(packs: int) -> Decimal:
        each = price_at(packs, pack=one.pack, price=one.price, breaks=one.breaks) / one.pack
        running = cost_at(packs * one.pack, use=use, per_order=per_order, keeping=rate * each)
        return use * each + running

    packs = min(sorted(within), key=cost)
    quantity = packs * one.pack
    days = quantity / use * DAYS_A_YEAR
    return OrderSize(one, packs, quantity, exact, cost(packs), days, within != packs_near)


def _whole(packs: Decimal, way: str = ROUND_FLOOR) -> int:
    return int(packs.to_integral_value(way))
