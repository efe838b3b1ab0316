"""What an order plan is asked: needs, the packs that suppliers offer, and their terms. Pure values.

Quantities are grams, or pieces for what is counted; money is in the co-op's currency.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any

from ledger.errors import (
    Conflict,
    Invalid,
    Sentence,
)

# What a material, an offer or a supplier is told apart by: its id.
Key = Any
MASS_IN_KG = Decimal(1000)


class Why(StrEnum):
    """Why nothing covers a need: nobody offers it, only suppliers that are left out do, all come
    too late, every cover would expire in part, or least amounts ask for more than is used in time.
    """

    NOT_OFFERED = "not_offered"
    LEFT_OUT = "left_out"
    TOO_LATE = "too_late"
    WOULD_EXPIRE = "would_expire"
    LEAST_AMOUNTS = "least_amounts"


class NothingCovers(Conflict):
    """No offers cover what is needed of these: {materials}."""

    code = "nothing_covers"


class BudgetTooSmall(Conflict):
    """This budget does not do: the least that covers all needs is {least}."""

    code = "budget_too_small"


class PlanNotFound(Conflict):
    """No plan was found in the time allowed: allow more, or ask for fewer materials at once."""

    code = "plan_not_found"


@dataclass(frozen=True, slots=True)
class Need:
    """How much of a material is missing.

    With its use a month, no more is bought than is used before it expires; `in_store` is what is
    there already and is used first, and `sure` what is used in time whatever the mean says.
    """

    material: Key
    quantity: Decimal
    use_per_month: Decimal | None = None
    in_store: Decimal = Decimal(0)
    sure: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class PackPrice:
    """From so many packs of the offer on, every one of them costs this (all-units discount)."""

    from_packs: int
    price: Decimal


@dataclass(frozen=True, slots=True)
class PackOffer:
    """A pack that a supplier sells: how much is in it, its prices, and how long that keeps.

    The first of `prices` says how many packs must be bought at least. `mass_g` is what freight by
    mass is charged for, of one pack.
    """

    key: Key
    supplier: Key
    material: Key
    size: Decimal
    prices: tuple[PackPrice, ...]
    mass_g: Decimal = Decimal(0)
    shelf_months: Decimal | None = None

    def __hash__(self) -> int:
        return hash(self.key)

    def price_of(self, packs: int) -> Decimal:
        """The price of each of so many packs. Raises Invalid for fewer than are sold."""
        reached = [step.price for step in self.prices if step.from_packs <= packs]
        if not reached:
            raise Invalid(
                Sentence(
                    "At least {least} of these packs are sold.", least=self.prices[0].from_packs
                )
            )
        return reached[-1]

    def usable(self, need: Need) -> Decimal | None:
        """What of it would be used before it expires; None where that is not known."""
        if need.use_per_month is None or self.shelf_months is None:
            return None
        return max(need.sure, need.use_per_month * self.shelf_months - need.in_store)


@dataclass(frozen=True, slots=True)
class Terms:
    """A supplier's: the least amount of goods in an order, and its freight.

    Freight is `flat` and so much a kilogram, and nothing from `free_from` on, an amount of goods.
    """

    minimum: Decimal = Decimal(0)
    flat: Decimal = Decimal(0)
    per_kg: Decimal = Decimal(0)
    free_from: Decimal | None = None


def must_be_sound(
    needs: Sequence[Need], offers: Sequence[PackOffer], terms: Sequence[Terms]
) -> None:
    """Raises Invalid for what cannot be meant: amounts below zero, packs of nothing, breaks that
    do not rise, a material or an offer that is there twice."""
    if any(need.quantity < 0 or (need.use_per_month or 0) < 0 for need in needs):
        raise Invalid("A need and its use are zero or more.")
    if len({need.material for need in needs}) < len(needs):
        raise Invalid("Each material is needed once: add its needs up.")
    if len({offer.key for offer in offers}) < len(offers):
        raise Invalid("Each offer stands once in a plan.")
    for offer in offers:
        steps = [step.from_packs for step in offer.prices]
        if not steps or steps[0] < 1 or steps != sorted(set(steps)):
            raise Invalid("An offer has a price, and its breaks rise from one pack or more.")
        if offer.size <= 0 or offer.mass_g < 0 or min(p.price for p in offer.prices) < 0:
            raise Invalid("A pack holds something, and its mass and price are zero or more.")
    amounts = [a for t in terms for a in (t.minimum, t.flat, t.per_kg, t.free_from or Decimal(0))]
    if min(amounts, default=Decimal(0)) < 0:
        raise Invalid("Least amounts and freight are zero or more.")
