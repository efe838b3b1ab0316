"""Taking back promises that cannot be kept, since what was promised is not there."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor
from ledger.alerts import enqueue_checks
from ledger.entries import account
from ledger.models import Account

# Of each lot what is promised beyond what will be left, taken from the latest plan first; each
# plan then lacks as much. The pools are locked by then.
_TAKE_BACK: Final = """
with lost as (
  select * from unnest(%(lots)s::uuid[], %(quantities)s::numeric[]) l(lot_id, quantity)
), left_over as (
  select l.lot_id, greatest(coalesce(h.quantity, 0) - l.quantity, 0) as quantity
    from lost l left join ledger_holding h
      on h.coop_id = %(coop)s and h.account_id = %(store)s and h.lot_id = l.lot_id
), kept as (
  select r.account_id, r.lot_id, r.material_id, r.quantity,
         greatest(least(r.quantity, o.quantity - coalesce(sum(r.quantity) over (
           partition by r.lot_id order by a.created_at, a.id
           rows between unbounded preceding and 1 preceding), 0)), 0) as stays
    from left_over o
    join ledger_reservation r on r.coop_id = %(coop)s and r.maker_id = %(maker)s
      and r.lot_id = o.lot_id and r.quantity > 0
    join ledger_account a on a.coop_id = r.coop_id and a.id = r.account_id
), taken as (
  update ledger_reservation r set quantity = k.stays from kept k
   where r.coop_id = %(coop)s and r.account_id = k.account_id and r.lot_id = k.lot_id
     and k.stays < k.quantity
  returning r.account_id, r.material_id, k.quantity - k.stays as missing
), lacking as (
  insert into ledger_shortfall (coop_id, maker_id, account_id, material_id, quantity)
  select %(coop)s, %(maker)s, account_id, material_id, sum(missing) from taken group by 3, 4
  on conflict (coop_id, account_id, material_id)
    do update set quantity = ledger_shortfall.quantity + excluded.quantity
)
select distinct material_id from taken
"""


def release_promises(actor: Actor, lost: Mapping[UUID, Decimal]) -> None:
    """Before so much of each lot is written off: plans lack what they can no longer be given."""
    if not lost:
        return
    with connection.cursor() as cursor:
        cursor.execute(
            _TAKE_BACK,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "store": account(actor, Account.Kind.STORE, "store"),
                "lots": list(lost),
                "quantities": list(lost.values()),
            },
        )
        enqueue_checks(actor, [material for (material,) in cursor.fetchall()])
