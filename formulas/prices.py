"""Prices of a product, from its cost: one, or a ladder of them for several kinds of buyers."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from uuid import UUID

from formulas.access import product_for
from formulas.errors import UnitCostMissing
from formulas.ladder import (
    BreakEven,
    Channel,
    ChannelPrice,
    break_even_of,
    price_channel,
    refuse_below_cost,
)
from formulas.unit_costs import latest_unit_cost, unit_cost_of
from ledger.access import Actor
from ledger.errors import Invalid, placed
from ledger.roles import Verb

ZERO = Decimal(0)


class CostFrom(StrEnum):
    """Which cost a price is built on."""

    LAST = "last"
    PRESENT = "present"
    GIVEN = "given"


@dataclass(frozen=True, slots=True)
class Cost:
    """The cost of a unit to build on: given, or of the last making, or as planned today.

    `units` is the size of a batch, for what is paid once a batch.
    """

    given: Decimal | None = None
    source: CostFrom = CostFrom.LAST
    units: int | None = None


@dataclass(frozen=True, slots=True)
class Fixed:
    """What is to be paid whatever is sold, for the break-even; money of one and the same period."""

    cost: Decimal
    variable_cost: Decimal | None = None
    target_profit: Decimal = ZERO
    batch_units: int | None = None


@dataclass(frozen=True, slots=True)
class Rung:
    """A channel's price, and the volume in that channel alone that pays the fixed cost."""

    priced: ChannelPrice
    break_even: BreakEven | None


@dataclass(frozen=True, slots=True)
class Ladder:
    """The prices of all channels on one cost of a unit."""

    unit_cost: Decimal
    cost_from: CostFrom
    rungs: tuple[Rung, ...]


def price_product(
    actor: Actor,
    *,
    product: UUID | str,
    channel: Channel,
    cost: Cost = Cost(),
    confirm_below_cost: bool = False,
) -> ChannelPrice:
    """The price of a unit from margin or markup, after fees, with its tax apart.

    Raises NotFound, Forbidden, UnitCostMissing, CostUnknown, Invalid, PriceImpossible, and
    BelowCost unless that is confirmed.
    """
    actor.must(Verb.SEE_COSTS)
    unit_cost, _ = _unit_cost(actor, product, cost)
    priced = price_channel(channel, unit_cost, actor.currency)
    if not confirm_below_cost:
        refuse_below_cost(priced)
    return priced


def price_ladder(
    actor: Actor,
    *,
    product: UUID | str,
    channels: Sequence[Channel],
    cost: Cost = Cost(),
    fixed: Fixed | None = None,
    confirm_below_cost: bool = False,
) -> Ladder:
    """The prices of a product in several channels, and what breaks even in each.

    Raises what `price_product` raises, placed at the channel that is meant, and Invalid for two
    channels of one name.
    """
    actor.must(Verb.SEE_COSTS)
    unit_cost, source = _unit_cost(actor, product, cost)
    names = [channel.name for channel in channels]
    rungs = []
    for place, channel in enumerate(channels):
        with placed(f"/channels/{place}"):
            if channel.name in names[:place]:
                raise Invalid("Two channels have this name: give each its own.", pointer="/name")
            priced = price_channel(channel, unit_cost, actor.currency)
            if not confirm_below_cost:
                refuse_below_cost(priced)
        rungs.append(Rung(priced, _break_even(priced, fixed)))
    return Ladder(unit_cost, source, tuple(rungs))


def _break_even(priced: ChannelPrice, fixed: Fixed | None) -> BreakEven | None:
    if fixed is None:
        return None
    return break_even_of(
        priced,
        fixed.cost,
        variable_cost=fixed.variable_cost,
        target_profit=fixed.target_profit,
        batch_units=fixed.batch_units,
    )


def _unit_cost(actor: Actor, product: UUID | str, cost: Cost) -> tuple[Decimal, CostFrom]:
    found = product_for(actor, product)
    if cost.given is not None:
        return cost.given, CostFrom.GIVEN
    if cost.source is CostFrom.PRESENT:
        present = unit_cost_of(actor, product=found.id, units=cost.units).cost.per_unit
        return present or ZERO, CostFrom.PRESENT
    last = latest_unit_cost(found)
    if last is None:
        raise UnitCostMissing(product=found.name, pointer="/unit_cost")
    return last, CostFrom.LAST
