"""What deliveries against orders tell of lead times, by supplier and material."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final
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
       array_agg(greatest(0, (u.usable_at at time zone %(zone)s)::date
                             - (o.written_at at time zone %(zone)s)::date))
  from ledger_receipt r
  join ledger_entry t on t.coop_id = r.coop_id and t.id = r.entry_id
  join ledger_receiptline n on n.coop_id = r.coop_id and n.receipt_id = r.id
  join ledger_purchaseorderline w on w.coop_id = n.coop_id and w.id = n.order_line_id
  join ledger_purchaseorder o on o.coop_id = w.coop_id and o.id = w.order_id
  join ledger_material m on m.coop_id = w.coop_id and m.id = w.material_id
  -- What was released as it was received could be used when it came, whenever that was told.
  cross join lateral (
    select case when min(d.decided_at) <= t.recorded_at then r.happened_at
                else greatest(min(d.decided_at), r.happened_at) end as usable_at
      from ledger_decision d
      where d.coop_id = r.coop_id and d.maker_id = r.maker_id and d.lot_id = n.lot_id
        and d.decision = 'release' having count(*) > 0) u
 where r.coop_id = %(coop)s and r.maker_id = %(maker)s and r.happened_at >= %(since)s
   and (%(supplier)s::uuid is null or r.supplier_id = %(supplier)s::uuid)
   and (%(materials)s::uuid[] is null or w.material_id = any (%(materials)s::uuid[]))
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

    From the day an order was written until what came of it could be used. Each delivery of a line
    of an order counts once; those that were undone, or not released yet, do not. Nothing for who
    acts for no maker.
    """
    if actor.maker_id is None:
        return {}
    found = {}
    for supplier, material, _, days in _read(actor, _since(day)):
        if (measured := measured_lead_time(days)) is not None:
            found[supplier, material] = measured
    return found


def lead_time_of(actor: Actor, supplier: UUID | str, *, day: date) -> SupplierLead:
    """How long a supplier takes. Raises NotFound and Forbidden."""
    actor.must(Verb.READ)
    seller, since = supplier_for(actor, supplier), _since(day)
    rows = _read(actor, since, supplier=seller.id)
    together = [one for *_, days in rows for one in days]
    by_material = [MaterialLead(id, name, measured_lead_time(days)) for _, id, name, days in rows]
    return SupplierLead(seller, since, measured_lead_time(together), by_material)


def lead_time_for(actor: Actor, material: UUID, *, day: date) -> Measured | None:
    """How long a material takes, whoever sends it; None where nothing came of an order yet."""
    found = lead_times_for(
        actor.coop_id, actor.maker, [material], time_zone=actor.time_zone, day=day
    )
    return found.get(material)


def lead_times_for(
    coop_id: UUID, maker_id: UUID, materials: Iterable[UUID], *, time_zone: str, day: date
) -> dict[UUID, Measured]:
    """How long each of these takes, whoever sends it, in one query; for who acts for nobody too."""
    own = {"coop": coop_id, "maker": maker_id, "zone": time_zone, "since": _since(day)}
    days_of: dict[UUID, list[int]] = defaultdict(list)
    for _, material, _, days in _rows({**own, "supplier": None, "materials": list(materials)}):
        days_of[material] += days
    found = {material: measured_lead_time(days) for material, days in days_of.items()}
    return {material: one for material, one in found.items() if one is not None}


def _since(day: date) -> date:
    return date.fromordinal(max(1, day.toordinal() - WINDOW_DAYS))


def _read(
    actor: Actor, since: date, *, supplier: UUID | None = None
) -> list[tuple[UUID, UUID, str, list[int]]]:
    own = {"coop": actor.coop_id, "maker": actor.maker, "zone": actor.time_zone, "since": since}
    return _rows({**own, "supplier": supplier, "materials": None})


def _rows(asked: Mapping[str, Any]) -> list[tuple[UUID, UUID, str, list[int]]]:
    with connection.cursor() as cursor:
        cursor.execute(_DAYS, asked)
        rows: list[tuple[UUID, UUID, str, list[int]]] = cursor.fetchall()
    return rows
