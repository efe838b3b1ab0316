"""Promising a planned batch again what came back from it to the store.

A weighing uses up what its batch was promised. When it is undone or weighed back, the batch needs
as much again, and another could take it meanwhile.
"""

from typing import Final
from uuid import UUID

from django.db import connection

from formulas.models import Batch
from ledger.access import Actor
from ledger.alerts import enqueue_checks

# Of each lot that came back: no more than came back, than the batch still needs of the material
# beside what it is promised already, and than nobody else was promised of the lot. The ledger has
# locked the materials with the entry.
_PROMISE: Final = """
with back as (
  select p.lot_id, h.material_id, sum(p.quantity) as quantity
    from ledger_posting p
    join ledger_holding h
      on h.coop_id = p.coop_id and h.account_id = p.account_id and h.lot_id = p.lot_id
    where p.coop_id = %(coop)s and p.entry_id = any (%(entries)s) and h.kind = 'store'
    group by 1, 2 having sum(p.quantity) > 0
), needed as (
  select material_id, sum(quantity) as quantity from (
    select material_id, grams from formulas_wanted
      where coop_id = %(coop)s and batch_id = %(batch)s
    union all
    select k.material_id, k.per_unit * coalesce(b.units, 0) from formulas_batchpackaging k
      join formulas_batch b on b.coop_id = k.coop_id and b.id = k.batch_id
      where k.coop_id = %(coop)s and k.batch_id = %(batch)s) n(material_id, quantity)
    group by 1
), lacking as (
  select n.material_id, n.quantity
         - (select coalesce(sum(h.quantity), 0) from ledger_holding h where h.coop_id = %(coop)s
              and h.account_id = %(account)s and h.material_id = n.material_id)
         - (select coalesce(sum(r.quantity), 0) from ledger_reservation r where r.coop_id = %(coop)s
              and r.account_id = %(account)s and r.material_id = n.material_id) as quantity
    from needed n
), given as (
  select b.lot_id, b.material_id,
         least(b.quantity,
               l.quantity - coalesce(sum(b.quantity) over (partition by b.material_id
                 order by b.lot_id rows between unbounded preceding and 1 preceding), 0),
               (select coalesce(sum(h.quantity), 0) from ledger_holding h
                  where h.coop_id = %(coop)s and h.maker_id = %(maker)s and h.lot_id = b.lot_id
                    and h.material_id = b.material_id and h.kind = 'store')
               - (select coalesce(sum(r.quantity), 0) from ledger_reservation r
                    where r.coop_id = %(coop)s and r.lot_id = b.lot_id)) as quantity
    from back b join lacking l on l.material_id = b.material_id
)
insert into ledger_reservation (coop_id, maker_id, account_id, lot_id, material_id, quantity)
select %(coop)s, %(maker)s, %(account)s, lot_id, material_id, quantity from given where quantity > 0
  on conflict (coop_id, account_id, lot_id)
  do update set quantity = ledger_reservation.quantity + excluded.quantity
  returning material_id
"""


def promise_again(actor: Actor, batch: Batch, entries: list[UUID]) -> None:
    """Promise a planned batch what these entries brought back, as far as it still needs it."""
    with connection.cursor() as cursor:
        cursor.execute(
            _PROMISE,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "batch": batch.id,
                "account": batch.account_id,
                "entries": entries,
            },
        )
        materials = {row[0] for row in cursor.fetchall()}
    if materials:
        enqueue_checks(actor, materials)
