"""What makers pledge in an order round, and what comes of it. Pure values.

Quantities are grams, or pieces for what is counted; prices are in the co-op's currency for a
kilogram or a piece; amounts are in the co-op's currency.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import Protocol
from uuid import UUID

from ledger.fair_split import FairSplit
from ledger.order_bills import SupplierOrder
from ledger.order_terms import Need

GRAMS_PRICED = Decimal(1000)


class WhyDropped(StrEnum):
    """Why a pledge takes no part: nobody offers the material, or it would cost more than the
    highest price that its maker accepts, or all together more than the round's budget."""

    NOT_OFFERED = "not_offered"
    TOO_DEAR = "too_dear"
    OVER_BUDGET = "over_budget"


@dataclass(frozen=True, slots=True)
class Pledge:
    """So much of a material for a maker, at no more than `highest_price` a kilogram or piece.

    There is one for each maker and material. Without a quantity it is for leftover alone.
    `takes_leftover` asks for what is left of the packs of this material, at what the goods cost.
    `use_per_month` is what the maker uses of it, in grams or pieces.
    """

    maker: UUID
    material: UUID
    quantity: Decimal | None
    counted: bool
    highest_price: Decimal | None = None
    takes_leftover: bool = False
    use_per_month: Decimal | None = None

    def price_of(self, amount: Decimal, quantity: Decimal) -> Decimal:
        """What a kilogram or a piece costs when so much of it costs this amount."""
        return amount / quantity * (Decimal(1) if self.counted else GRAMS_PRICED)

    def accepts(self, price: Decimal) -> bool:
        return self.highest_price is None or price <= self.highest_price


@dataclass(frozen=True, slots=True)
class Dropped:
    """A pledge that takes no part, with the price it would have had to pay where there is one."""

    pledge: Pledge
    why: WhyDropped
    price: Decimal | None = None


class Plan(Protocol):
    """The cheapest orders that were found for some needs, what none cost less than, and whether
    these cost no more than that."""

    @property
    def orders(self) -> tuple[SupplierOrder, ...]: ...
    @property
    def cost(self) -> Decimal: ...
    @property
    def bound(self) -> Decimal: ...
    @property
    def proven(self) -> bool: ...


@dataclass(frozen=True, slots=True)
class ShareLine:
    """What a maker gets of a material, and pays for it.

    `quantity` is what it pledged, `amount` its part of the maker's fair share. `leftover` is what
    it gets beyond that of the packs, for `leftover_amount`: the goods' cost for whoever asked for
    it, nothing where it is left to those who have paid for the packs.
    """

    pledge: Pledge
    quantity: Decimal
    amount: Decimal
    leftover: Decimal
    leftover_amount: Decimal

    @property
    def price(self) -> Decimal | None:
        """What a kilogram or a piece of the pledge costs, freight included."""
        return self.pledge.price_of(self.amount, self.quantity) if self.quantity else None


@dataclass(frozen=True, slots=True)
class MakerShare:
    """What a maker pays in the round beside the best that it could do alone with these offers.

    Who is in it for leftover alone has no plan, and pays for its leftover. `own_cost` is what it
    would pay by offers of its own as well, where that is less than alone.
    """

    maker: UUID
    alone: Plan | None
    alone_cost: Decimal
    amount: Decimal
    lines: tuple[ShareLine, ...]
    own_cost: Decimal | None = None

    @property
    def leftover_amount(self) -> Decimal:
        return sum((line.leftover_amount for line in self.lines), Decimal(0))


@dataclass(frozen=True, slots=True)
class Reckoned:
    """A round: what is ordered, who gets and pays what, and who took no part.

    `proven` says that no cheaper order was possible, for all together and for every group that was
    looked at; otherwise no more than the part `gap` of any of them might be saved. `together` is
    what the orders cost; split is that less the leftover that is sold. `own` has the orders of
    those who do better by offers of their own, whether they took part or not. Without any pledge
    that takes part there is neither a plan nor a split; `over_budget` is then what all would have
    cost, where that was too much.
    """

    plan: Plan | None
    split: FairSplit[UUID] | None
    shares: tuple[MakerShare, ...]
    dropped: tuple[Dropped, ...]
    proven: bool
    together: Decimal = Decimal(0)
    gap: Decimal = Decimal(0)
    own: Mapping[UUID, Plan] = field(default_factory=dict)
    over_budget: Decimal | None = None

    @property
    def apart(self) -> Decimal:
        """What all would pay together, each ordering alone."""
        return sum((share.alone_cost for share in self.shares), Decimal(0))


def wanted(pledges: Iterable[Pledge]) -> dict[UUID, Decimal]:
    """The quantities pledged, by material."""
    found: dict[UUID, Decimal] = {}
    for pledge in pledges:
        if pledge.quantity:
            found[pledge.material] = found.get(pledge.material, Decimal(0)) + pledge.quantity
    return found


def needs_of(pledges: Sequence[Pledge]) -> tuple[Need, ...]:
    """What is to be bought of each material.

    Where all who pledge a material say what they use of it, no more is bought than all of them
    together use before it expires; what they pledge they use in any case.
    """
    found = []
    for material, quantity in wanted(pledges).items():
        uses = [pledge.use_per_month for pledge in pledges if pledge.material == material]
        told = [use for use in uses if use is not None]
        use = sum(told, Decimal(0)) if len(told) == len(uses) else None
        found.append(Need(material, quantity, use, sure=quantity if told == uses else Decimal(0)))
    return tuple(found)


def goods_of(orders: Sequence[SupplierOrder]) -> Mapping[UUID, tuple[Decimal, Decimal]]:
    """By material, how much is bought, and what the goods cost without freight."""
    found: dict[UUID, tuple[Decimal, Decimal]] = {}
    for order in orders:
        for line in order.lines:
            material = UUID(str(line.offer.material))
            quantity, amount = found.get(material, (Decimal(0), Decimal(0)))
            found[material] = quantity + line.quantity, amount + line.amount
    return found
