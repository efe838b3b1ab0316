"""On what a late bill falls: on what is still in store, and on what has been used.

The cost of a purchase has all of its price, freight, duty and tax in it, less rebates (IAS 2,
paragraphs 10 and 11), whenever the paper comes. Nothing earlier is recosted: of a bill that comes
late, the share of what is left goes to the cost layers, and the share of what was used is a
difference of the period, shown with each use (common practice: a purchase price variance that is
prorated between stock and consumption).

Quantities are grams, or pieces for what is counted; money is in the co-op's currency.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from typing import Generic, TypeVar

from ledger.money import round_to_step, split_exactly

ZERO = Decimal(0)
PLACES = 6
Place = TypeVar("Place", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Used(Generic[Place]):
    """So much of a lot was used; `place` says where, and is None where nobody knows."""

    place: Place | None
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class Apportioned(Generic[Place]):
    """What falls on the layers, and what on each use; together they are the whole amount."""

    to_stock: Decimal
    uses: tuple[tuple[Used[Place], Decimal], ...]

    @property
    def to_used(self) -> Decimal:
        return sum((amount for _, amount in self.uses), ZERO)


def apportion(
    amount: Decimal,
    *,
    received: Decimal,
    left: Decimal,
    in_layers: Decimal,
    uses: Sequence[Used[Place]],
    step: Decimal,
) -> Apportioned[Place]:
    """Split what falls on one lot between what is left of it and its uses.

    `left` of what was `received` is still there, and the uses share the rest as their quantities
    stand to each other. One split by largest remainder over exact figures, in whole `step`s. A
    credit takes no more from the layers than `in_layers`, what they hold; what is above that
    falls on the uses. `left` above `received` counts as all of it: what was added to a lot later
    did not come with the delivery.
    """
    known = tuple(use for use in uses if use.quantity > 0)
    there = min(left, received)
    gone = received - there
    if not known:
        known = (Used(None, gone),)
    together = sum(_whole(use.quantity) for use in known) or 1
    weights = [Decimal(_whole(there) * together)]
    weights += [Decimal(_whole(use.quantity) * _whole(gone)) for use in known]
    to_stock, *parts = split_exactly(amount, weights, step=step)
    most_off = round_to_step(in_layers, step, ROUND_FLOOR)
    if to_stock < -most_off:
        to_stock = -most_off
        # Where all is still there, nobody has used it, and the first place gets the rest.
        shares = [use.quantity for use in known] if any(u.quantity for u in known) else [Decimal(1)]
        parts = split_exactly(amount - to_stock, shares, step=step)
    pairs = zip(known, parts, strict=True)
    return Apportioned(to_stock, tuple(pair for pair in pairs if pair[1]))


def _whole(quantity: Decimal) -> int:
    """A stored quantity in its last place, so that products stay exact."""
    return int(quantity.scaleb(PLACES))
