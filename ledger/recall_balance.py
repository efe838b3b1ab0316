"""How much of one lot lies in each place of all that was made of it. Pure; exact by fractions.

What goes into a making is in its outputs in proportion to their quantities, and whatever is taken
from a lot holds its share of it: the usual mass balance of a trace (ISO 22005; common practice).
What was lost in making counts as in the output, since nobody can tell which grams were lost.
"""

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from ledger.money import round_together

MILLIONTH = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class Making:
    """What went into one making, by lot, in grams, or pieces where counted; and what came of it, by
    mass where that is known, so that lots in grams and in pieces share by the same measure."""

    inputs: Mapping[Hashable, Decimal]
    outputs: Mapping[Hashable, Decimal]


def carried(
    root: Hashable, totals: Mapping[Hashable, Decimal], makings: Iterable[Making]
) -> dict[Hashable, Fraction]:
    """How much of the root lot each lot holds, used up or not, in the root's own unit.

    `totals` are all of each lot that there ever was. A lot that is reached only in a circle, which
    time does not allow, is left out: its share then shows as unexplained.
    """
    held = {root: Fraction(totals[root])}
    for making in _in_turn(list(makings)):
        went_in = sum(
            share_of(held[lot], quantity, totals[lot])
            for lot, quantity in making.inputs.items()
            if lot in held and totals.get(lot)
        )
        together = sum(making.outputs.values(), Decimal(0))
        for lot, quantity in making.outputs.items():
            share = share_of(went_in, quantity, together)
            held[lot] = held[lot] + share if lot in held else share
    return held


def _in_turn(makings: Sequence[Making]) -> Iterator[Making]:
    """Each making after all that its inputs came of; those of a circle never come."""
    unmade = Counter(lot for making in makings for lot in making.outputs)
    awaited: dict[Hashable, list[int]] = defaultdict(list)
    ready, waits_for = [], []
    for number, making in enumerate(makings):
        lacking = [lot for lot in making.inputs if lot in unmade]
        waits_for.append(len(lacking))
        for lot in lacking:
            awaited[lot].append(number)
        if not lacking:
            ready.append(number)
    # It grows while it is gone through.
    for number in ready:
        yield makings[number]
        for lot in makings[number].outputs:
            unmade[lot] -= 1
            for other in awaited[lot] if not unmade[lot] else ():
                waits_for[other] -= 1
                if not waits_for[other]:
                    ready.append(other)


def share_of(held: Fraction | int, part: Decimal, whole: Decimal) -> Fraction:
    """What a part of a lot holds when the whole of it holds so much; brought down once."""
    over, under = part.as_integer_ratio()
    times, by = whole.as_integer_ratio()
    much, of = held.as_integer_ratio()
    return Fraction(much * over * by, of * under * times)


def rounded(parts: Sequence[Fraction]) -> list[Decimal]:
    """Parts in millionths that sum to their rounded sum, by largest remainder."""
    return round_together(parts, step=MILLIONTH)
