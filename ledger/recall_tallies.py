"""A recall list summed up in quantities alone, so that another maker may see it. Pure.

Pieces and grams are never added to each other.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

ZERO: Final = Decimal(0)


@dataclass(frozen=True, slots=True)
class Count:
    """So many pieces of what is counted, and grams of what is not."""

    units: Decimal = ZERO
    grams: Decimal = ZERO

    def __add__(self, other: "Count") -> "Count":
        return Count(self.units + other.units, self.grams + other.grams)

    def plus(self, quantity: Decimal, *, counted: bool) -> "Count":
        """The same with so much more of either."""
        return self + (Count(units=quantity) if counted else Count(grams=quantity))


@dataclass(frozen=True, slots=True)
class Tally:
    """How much of a recalled lot, and of what was made of it, is where.

    `received` and `accounted` are of the recalled lot itself, in its own unit: the mass balance.
    `makings` are the times it was made into something; `made` is all that came of that. Of it and
    of the lot, `in_reach` can still be stopped, and `held` of that is on hold or rejected; `sold`
    went to buyers, and `returned` of that came back; `passed_on` went to other makers, and
    `elsewhere` is the rest: samples, testers, what was retained or lost. `shrink_accounted` is true
    of what was kept when a count's shrink, if there was any, still counted as accounted for.
    """

    received: Decimal = ZERO
    accounted: Decimal = ZERO
    makings: int = 0
    made: Count = Count()
    in_reach: Count = Count()
    held: Count = Count()
    sold: Count = Count()
    returned: Count = Count()
    passed_on: Count = Count()
    elsewhere: Count = Count()
    shrink_accounted: bool = False

    @property
    def unexplained(self) -> Decimal:
        """What of the recalled lot the records do not find; it ought to be 0."""
        return self.received - self.accounted

    def corrected(self, by: Mapping[str, Mapping[str, Decimal]]) -> "Tally":
        """The same with other figures, by the name of the count and its unit."""
        changed = {name: replace(getattr(self, name), **given) for name, given in by.items()}
        return replace(self, **changed)


COUNTS: Final = ("made", "in_reach", "held", "sold", "returned", "passed_on", "elsewhere")


def together(tallies: Iterable[Tally]) -> dict[str, Count]:
    """The counts of several makers, summed. What one passed on the next one has."""
    found = list(tallies)
    return {
        name: sum((getattr(tally, name) for tally in found), Count())
        for name in COUNTS
        if name != "passed_on"
    }


def percent_back(returned: Decimal, sold: Decimal) -> Decimal | None:
    """What came back of what was sold, in percent to one decimal; None when nothing was sold."""
    if sold <= 0:
        return None
    tenths = Fraction(returned) * 1000 / Fraction(sold)
    return Decimal(round(tenths)).scaleb(-1)


def as_facts(tally: Tally) -> dict[str, Any]:
    """The tally as plain values, as a row keeps it."""
    return {
        "received": str(tally.received),
        "accounted": str(tally.accounted),
        "makings": tally.makings,
        "shrink_accounted": tally.shrink_accounted,
        **{name: _count_facts(getattr(tally, name)) for name in COUNTS},
    }


def from_facts(facts: Mapping[str, Any]) -> Tally:
    """The tally that `as_facts` told; before there was another way, shrink was accounted for."""
    counts: dict[str, Any] = {
        name: Count(Decimal(facts[name]["units"]), Decimal(facts[name]["grams"])) for name in COUNTS
    }
    return Tally(
        *(Decimal(facts["received"]), Decimal(facts["accounted"]), facts["makings"]),
        shrink_accounted=facts.get("shrink_accounted", True),
        **counts,
    )


def _count_facts(count: Count) -> dict[str, str]:
    return {"units": str(count.units), "grams": str(count.grams)}
