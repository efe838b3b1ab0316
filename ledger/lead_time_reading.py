"""What deliveries against orders tell of lead times, by supplier and material."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor, supplier_for
from ledger.lead_times import Measured, measured_lead_time
from ledger.models import Supplier
from ledger.roles import Verb

# A supplier of years ago is another supplier.
WINDOW_DAYS: Final = 730
_DAYS: Final = """
select r.supplier_id, w.material_id, m.name,
       array_agg(greatest(0, (r.happened_at at time zone %(zone)s)::date
                             - (o.written_at at time zone %(zone)s)::date))
  from ledger_receipt r
  join ledger_receiptline n on n.coop_id = r.coop_id and n.receipt_id = r.id
  join ledger_purchaseorderline w on w.coop_id = n.coop_id and w.id = n.order_line_id
  join ledger_purchaseorder o on o.coop_id = w.coop_id and o.id = w.order_id
  join ledger_material m on m.coop_id = w.coop_id and m.id = w.material_id
 where r.coop_id = %(coop)s and r.maker_id = %(maker)s and r.happened_at >= %(since)s
   and (%(supplier)s::uuid is null or r.supplier_id = %(supplier)s::uuid)
   and not exists (select from ledger_entry e
                     where e.coop_id = r.coop_id and e.reverses_id = r.entry_id)
 group by 1, 2, 3 order by m.name, w.material_id
"""


@dataclass(frozen=True, slots=True)
class MaterialLead:
    """How long a supplier takes for one material."""

    material: UUID
    name: str
    measured: Measured | None


@dataclass(frozen=True, slots=True)
class SupplierLead:
    """How long a supplier takes, over all and by material, since a day."""

    supplier: Supplier
    since: date
    measured: Measured | None
    materials: list[MaterialLead]


def lead_times(actor: Actor, *, day: date) -> Mapping[tuple[UUID, UUID], Measured]:
    """By supplier and material, what the maker's deliveries of two years tell, in one query.

    Each delivery of a line of an order counts once; those that were undone do not. Nothing for who
    acts for no maker.
    """
    if actor.maker_id is None:
        return {}
    found = {}
    for supplier, material, _, days in _read(actor, _since(day), None):
        if (measured := measured_lead_time(days)) is not None:
            found[supplier, material] = measured
    return found


def lead_time_of(actor: Actor, supplier: UUID | str, *, day: date) -> SupplierLead:
    """How long a supplier takes. Raises NotFound and Forbidden."""
    actor.must(Verb.READ)
    seller, since = supplier_for(actor, supplier), _since(day)
    rows = _read(actor, since, seller.id)
    together = [one for *_, days in rows for one in days]
    by_material = [MaterialLead(id, name, measured_lead_time(days)) for _, id, name, days in rows]
    return SupplierLead(seller, since, measured_lead_time(together), by_material)


def _since(day: date) -> date:
    return date.fromordinal(max(1, day.toordinal() - WINDOW_DAYS))


def _read(
    actor: Actor, since: date, supplier: UUID | None
) -> list[tuple[UUID, UUID, str, list[int]]]:
    with connection.cursor() as cursor:
        cursor.execute(
            _DAYS,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "zone": actor.time_zone,
                "since": since,
                "supplier": supplier,
            },
        )
        rows: list[tuple[UUID, UUID, str, list[int]]] = cursor.fetchall()
    return rows
