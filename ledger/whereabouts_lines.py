"""What the places of a lot are made of, entry by entry.

The rows and the rules are those of `tracing`, so that the lines add up to what it tells.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.access import Actor, lot_for
from ledger.models import Lot
from ledger.statements import run
from ledger.tracing import PLACED, Whereabouts, place_of

CAME_IN: Final = "came in"
# What a late bill adds is money alone, and no step.
_STEPS: Final = f"""
select a.kind, a.name, p.quantity > 0, o.code, p.quantity, e.id, e.kind, p.happened_on {PLACED}
    and p.quantity <> 0
  order by p.happened_on desc, e.id desc, p.line
"""


@dataclass(frozen=True, slots=True)
class Step:
    """What one entry brought to a place, or below zero took from there."""

    entry: UUID
    kind: str
    on: date
    quantity: Decimal

    @property
    def back(self) -> "Step":
        """The same, as what came from there."""
        return replace(self, quantity=-self.quantity)


def steps_of(actor: Actor, lot: UUID | str) -> tuple[Lot, Mapping[str, Sequence[Step]]]:
    """A lot of the maker with the steps to each place, and under `CAME_IN` those that brought it.

    The latest is first. Raises NotFound, Forbidden.
    """
    found = lot_for(actor, lot)
    asked = {"coop": actor.coop_id, "maker": actor.maker, "lot": found.id}
    where, steps = Whereabouts(), defaultdict[str, list[Step]](list)
    kept: dict[tuple[str, str], list[Step]] = defaultdict(list)
    for kind, name, gained, made, quantity, entry, what, on in run(_STEPS, asked).fetchall():
        before, step = where.total, Step(entry, what, on, quantity)
        where.add(kind, name, gained, quantity)
        if where.total != before:
            steps[CAME_IN].append(step.back)
        elif kind == "making" and gained:
            steps[place_of(kind, name, made)].append(step)
        else:
            kept[kind, name].append(step)
    where.close()
    for place, those in kept.items():
        if place in where.places:
            steps[place_of(*place, None)] += those
        else:
            # What is below zero came from there: another maker gave it, or a count found it.
            steps[CAME_IN] += [one.back for one in those]
    return found, steps
