"""What materials cost a maker now: what is in store, or else the last delivery that stands."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor
from ledger.costing import GRAMS_PER_KG, round_stored
from ledger.roles import Verb

_COSTS: Final = """
select m.id, m.name, m.measured_by = 'count', m.stocked, m.cost_per_kg, s.q, s.v, r.q, r.v
  from ledger_material m
  left join lateral (
    select sum(y.quantity) as q, sum(y.value) as v from ledger_layer y
      where m.stocked and y.coop_id = m.coop_id and y.maker_id = %(maker)s
        and y.material_id = m.id and y.any_left) s on true
  left join lateral (
    select n.quantity as q, n.landed_cost as v
      from ledger_lot l
      join ledger_receiptline n on n.coop_id = l.coop_id and n.lot_id = l.id
      join ledger_receipt d on d.coop_id = n.coop_id and d.id = n.receipt_id
      where m.stocked and s.q is null and l.coop_id = m.coop_id and l.material_id = m.id
        and n.maker_id = %(maker)s
        and not exists (select from ledger_entry e
                          where e.coop_id = d.coop_id and e.reverses_id = d.entry_id)
      order by d.happened_at desc, n.id desc limit 1) r on true
  where m.coop_id = %(coop)s and m.id = any(%(only)s)
"""


class Basis(StrEnum):
    """Where a present cost comes from."""

    STORE = "store"
    LAST_RECEIPT = "last_receipt"
    STATED = "stated"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class PresentCost:
    """What a gram of a material costs now, or a piece of what is `counted`; None if unknown.

    In the co-op's currency, exact. From what is in store, whatever its lots; with none in store
    from the last delivery that is not reversed. What is not stocked has its stated cost, or none.
    """

    material_id: UUID
    name: str
    counted: bool
    each: Fraction | None
    basis: Basis

    @property
    def shown(self) -> Decimal | None:
        """Per kilogram, or per piece of what is counted, to six decimals."""
        if self.each is None:
            return None
        return round_stored(self.each if self.counted else self.each * Fraction(GRAMS_PER_KG))


def present_costs(actor: Actor, materials: Iterable[UUID]) -> dict[UUID, PresentCost]:
    """What these materials cost the maker now, in one query. Raises Forbidden."""
    actor.must(Verb.SEE_COSTS)
    with connection.cursor() as cursor:
        cursor.execute(
            _COSTS, {"coop": actor.coop_id, "maker": actor.maker, "only": list(materials)}
        )
        return {
            id: PresentCost(id, name, counted, *_cost(*found))
            for id, name, counted, *found in cursor.fetchall()
        }


def _cost(
    stocked: bool,
    per_kg: Decimal | None,
    stored: Decimal | None,
    stored_value: Decimal | None,
    received: Decimal | None,
    received_value: Decimal | None,
) -> tuple[Fraction | None, Basis]:
    if not stocked:
        return Fraction(per_kg or 0) / Fraction(GRAMS_PER_KG), Basis.STATED
    if stored and stored_value is not None:
        return Fraction(stored_value) / Fraction(stored), Basis.STORE
    if received and received_value is not None:
        return Fraction(received_value) / Fraction(received), Basis.LAST_RECEIPT
    return None, Basis.UNKNOWN
