"""What the catalogue says of one ingredient, and how much of it its certificate allows in what.

Pure. A certificate limits an ingredient for each category of products by itself (common practice
of scent makers): what stays on the skin, what is rinsed off, what comes near eyes, lips or babies.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Final
from uuid import UUID


class Flag(StrEnum):
    """What the catalogue says of a material that asks for care."""

    LYE = "lye"
    WATER = "water"
    PRESERVATIVE = "preservative"
    FRAGRANCE = "fragrance"
    ESSENTIAL_OIL = "essential_oil"
    BOTANICAL = "botanical"
    POWDER = "powder"
    SOLVENT = "solvent"
    NUT = "nut"
    MILK = "milk"
    WHEAT = "wheat"


SCENTS: Final = frozenset({Flag.FRAGRANCE, Flag.ESSENTIAL_OIL})


@dataclass(frozen=True, slots=True)
class Maximum:
    """The most of an ingredient in one kind of product, such as "leave_on" or "lip", in percent.

    `category` is how its certificate calls that kind.
    """

    kind: str
    max_percent: Decimal
    category: str = ""

    @property
    def called(self) -> str:
        return self.category or self.kind.replace("_", "-")


@dataclass(frozen=True, slots=True)
class Part:
    """One ingredient: its percent of what is made, and what the catalogue says of it.

    The range is that of its certificate for the category named, up to a day. `maxima` are those
    for kinds of products, which stand before the one maximum where the kind is known.
    """

    name: str
    percent: Decimal
    flags: frozenset[Flag] = frozenset()
    min_percent: Decimal | None = None
    max_percent: Decimal | None = None
    category: str = ""
    valid_until: date | None = None
    maxima: Sequence[Maximum] = ()
    material: UUID | None = None


def for_kinds(part: Part, kinds: Collection[str]) -> Maximum | None:
    """The lowest maximum that is stated for one of these kinds of products; None where none is."""
    stated = [one for one in part.maxima if one.kind in kinds]
    return min(stated, key=lambda one: one.max_percent, default=None)


def limits(part: Part, kinds: Collection[str]) -> Sequence[Maximum]:
    """The maxima that count in a product of these kinds; of no kind that is known, all of them.

    The one maximum that names a category of its own counts where none is stated for the kinds.
    """
    own = for_kinds(part, kinds)
    if own is not None:
        return [own]
    single = part.max_percent
    one = [] if single is None else [Maximum("", single, part.category)]
    return one if kinds else [*one, *part.maxima]
