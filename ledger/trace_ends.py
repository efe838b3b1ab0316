"""Where the lots of a trace ended: sold, at shops, with other makers, given out, spilt or lost;
and what was weighed into a batch that is not made yet.

The rows and the rules are those of `tracing`, so that a lot's ends are the places of its balance.
What is in store, or was made into other lots, is no end.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.access import Actor
from ledger.statements import run
from ledger.tracing import Whereabouts, is_explained, place_of

_MOVED: Final = """
select p.lot_id, a.kind, a.name, p.quantity > 0, sum(p.quantity)
  from ledger_posting p
  join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
  join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
  where p.coop_id = %(coop)s and p.lot_id = any (%(lots)s) and p.maker_id = %(maker)s
    and e.reverses_id is null
    and not exists (select from ledger_entry r where r.coop_id = %(coop)s and r.reverses_id = e.id)
  group by 1, 2, 3, 4
"""


@dataclass(frozen=True, slots=True)
class End:
    """So much of a lot, in grams or pieces, that went to a place from which nothing was made by
    now: what is in process is told, too.

    What is at a place that is not `known` was gone at a count, and nobody knows where it is.
    """

    lot: UUID
    place: str
    quantity: Decimal
    known: bool


def ends_of(actor: Actor, lots: Iterable[UUID]) -> list[End]:
    """Where the actor's maker's part of these lots ended, by lot and place."""
    asked = {"coop": actor.coop_id, "maker": actor.maker, "lots": list(lots)}
    where: dict[UUID, Whereabouts] = defaultdict(Whereabouts)
    for lot, kind, name, gained, quantity in run(_MOVED, asked).fetchall():
        where[lot].add(kind, name, gained, quantity)
    found = []
    for lot, its in where.items():
        its.close()
        found += [
            End(lot, place_of(kind, name, None), quantity, is_explained(kind, name))
            for (kind, name), quantity in its.places.items()
            if quantity and kind != "store"
        ]
    return sorted(found, key=lambda one: (one.place, one.lot))
