"""Which planned batches can't be made: what each lacks, shared out of what nobody was promised.

One material at a time, in grams or pieces. The batch whose day comes first is served first, and of
the lots that may be used on its day it takes the one that ends first (first expired, first out).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Lack:
    """What a batch needs on its day beyond the promises that will hold."""

    batch: UUID
    day: date
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class FreeLot:
    """What of a released lot was promised to nobody; without a last day it may be used for ever."""

    quantity: Decimal
    last_day: date | None


def short_of(
    lacks: Iterable[Lack], free: Sequence[FreeLot], on_order: Decimal
) -> dict[UUID, Decimal]:
    """What each batch will be short of; those that are not are not named.

    What is on order is taken after what is there, as if it came in time.
    """
    lots = sorted(free, key=lambda lot: lot.last_day or date.max)
    left = [lot.quantity for lot in lots]
    coming = on_order
    short: dict[UUID, Decimal] = {}
    for lack in sorted(lacks, key=lambda one: (one.day, one.batch)):
        wanted = lack.quantity
        for number, lot in enumerate(lots):
            if (lot.last_day or date.max) >= lack.day:
                taken = min(left[number], wanted)
                left[number] -= taken
                wanted -= taken
        taken = min(coming, wanted)
        coming -= taken
        if wanted > taken:
            short[lack.batch] = wanted - taken
    return short
