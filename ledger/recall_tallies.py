"""A recall list summed up in quantities alone, so that another maker may see it. Pure.

Pieces and grams are never added to each other.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from ledger.amounts import Amount
from ledger.errors import Invalid, Sentence

ZERO: Final = Decimal(0)


@dataclass(frozen=True, slots=True)
class Count:
    """So many pieces of what is counted, and grams of what is not."""

    units: Decimal = ZERO
    grams: Decimal = ZERO

    def __add__(self, other: "Count") -> "Count":
        return Count(self.units + other.units, self.grams + other.grams)

    @property
    def whole(self) -> Decimal:
        """All of a lot itself, which has only one of the two units."""
        return self.units + self.grams

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

    @property
    def lies(self) -> Count | None:
        """What is within reach, with buyers, with other makers and elsewhere, all of the recalled
        lot itself; None where some was made into something, whose mass is another."""
        if self.makings or self.made != Count():
            return None
        parts = (self.in_reach, self.sold, self.passed_on, self.elsewhere)
        whole = sum(parts, Count())
        return Count(whole.units - self.returned.units, whole.grams - self.returned.grams)

    @property
    def shrunk(self) -> Decimal:
        """What of the recalled lot is elsewhere by the records alone: a count found it gone, and
        nobody said why, so that it is not accounted for."""
        lies = self.lies
        if lies is None:
            return ZERO
        return min(max(lies.whole - self.accounted, ZERO), self.elsewhere.whole)

    def corrected(self, by: Mapping[str, Mapping[str, Decimal]]) -> "Tally":
        """The same with other figures, by the name of the count and its unit.

        What they tell more or less of the lot itself is accounted for, or is not any more. Where
        less is elsewhere than the records say, it is what shrank that is not there any more.
        """
        changed = {name: replace(getattr(self, name), **given) for name, given in by.items()}
        told = replace(self, **changed)
        before, after = self.lies, told.lies
        if before is None or after is None:
            return told
        less = max(self.elsewhere.whole - told.elsewhere.whole, ZERO)
        more = after.whole - before.whole + min(less, self.shrunk)
        return replace(told, accounted=self.accounted + more)

    def check(
        self, by: Mapping[str, Mapping[str, Decimal]], *, counted: bool, there: Decimal
    ) -> None:
        """Raise Invalid if it cannot be so with these corrections, at one of them.

        `there` is how much of the lot went there, in grams, or in pieces where it is `counted`;
        what was made of it may be any mass. What shrank may lie at any other place that is told.
        """
        for part, whole, why in PARTS:
            some, all_of_it = getattr(self, part), getattr(self, whole)
            for unit in ("units", "grams"):
                if getattr(some, unit) > getattr(all_of_it, unit):
                    _refuse(by, (part, whole), unit, why)
        lies = self.lies
        if lies is None:
            return
        own, other = ("units", "grams") if counted else ("grams", "units")
        if getattr(lies, other):
            _refuse(
                by, COUNTS, other, "None of it was made into anything: tell it in its own unit."
            )
        known = getattr(lies, own) - self.shrunk
        if known > there:
            told = Sentence(
                "This comes to {told}, and no more than {there} went there.",
                told=Amount(known, counted).rounded_up(),
                there=Amount(there, counted).rounded_down(),
            )
            _refuse(by, COUNTS, own, told)


# What is a part of what, and what is said where it is more.
PARTS: Final = (
    ("held", "in_reach", "More is on hold than is within reach, and it is a part of that."),
    ("returned", "sold", "More came back than was sold, and it is a part of that."),
)
COUNTS: Final = ("made", "in_reach", "held", "sold", "returned", "passed_on", "elsewhere")


def _refuse(
    by: Mapping[str, Mapping[str, Decimal]], names: Iterable[str], unit: str, why: str
) -> None:
    """Raise Invalid at the first of these figures that was given; records alone are not judged."""
    for name in names:
        if unit in by.get(name, {}):
            raise Invalid(why, pointer=f"/corrected/{name}/{unit}")


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
