"""Where the goods of a delivery are by now: how much is left of each lot, and who used the rest.

First in first out, what a receipt cost went where its layer was drawn, whichever lot was poured;
so what is left is left of the layer. By lot and by moving average it is the lot's own goods that
are followed: an average has no layer of one receipt, and what is left of the lot itself is the
best evidence of what is left of its cost.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor
from ledger.bills import Used
from ledger.models import Receipt

# By lot, what is left and what its cost layer holds.
_LEFT: Final = """
select c.lot_id, o.cost_formula, y.id, coalesce(y.value, 0),
       case when o.cost_formula = 'fifo' then coalesce(y.quantity, 0) else h.quantity end
  from ledger_custody c
  join ledger_pool o on o.coop_id = c.coop_id and o.maker_id = c.maker_id
    and o.material_id = c.material_id
  left join ledger_layer y on y.coop_id = c.coop_id and y.maker_id = c.maker_id
    and y.material_id = c.material_id
    and y.lot_id is not distinct from case when o.cost_formula <> 'average' then c.lot_id end
  cross join lateral (
    select coalesce(sum(h.quantity), 0) as quantity from ledger_holding h
      where h.coop_id = c.coop_id and h.maker_id = c.maker_id and h.lot_id = c.lot_id
        and h.kind = 'store') h
  where c.coop_id = %(coop)s and c.maker_id = %(maker)s and c.lot_id = any(%(lots)s::uuid[])
"""
# What has left the store and not come back, by where it went; packaging goes straight into a
# making, which is told by its entry. The receipt itself and its undoing are no use.
_USES: Final = """
select s.lot_id, s.account_id, s.making, -sum(s.quantity) as quantity from (
  select p.lot_id, p.entry_id, o.account_id, p.quantity,
         case when a.kind = 'making' then coalesce(e.reverses_id, e.id) end as making,
         coalesce(e.reverses_id, e.id) as event
    from ledger_posting p
    join ledger_posting o on o.coop_id = p.coop_id and o.entry_id = p.entry_id
      and o.line = p.line + case when p.line %% 2 = 1 then 1 else -1 end
    join ledger_account h on h.coop_id = p.coop_id and h.id = p.account_id and h.kind = 'store'
    join ledger_account a on a.coop_id = p.coop_id and a.id = o.account_id and a.kind <> 'store'
    join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
    where p.coop_id = %(coop)s and p.maker_id = %(maker)s and p.lot_id = any(%(physical)s::uuid[])
      and p.quantity <> 0
  union all
  select l.lot_id, p.entry_id, o.account_id, p.quantity,
         case when a.kind = 'making' then coalesce(e.reverses_id, e.id) end,
         coalesce(e.reverses_id, e.id)
    from ledger_layer l
    join ledger_layerposting p on p.coop_id = l.coop_id and p.layer_id = l.id
    join ledger_posting o on o.coop_id = p.coop_id and o.entry_id = p.entry_id
      and o.line in (2 * p.line - 1, 2 * p.line)
    join ledger_account a on a.coop_id = o.coop_id and a.id = o.account_id and a.kind <> 'store'
    join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
    where l.coop_id = %(coop)s and l.maker_id = %(maker)s and l.lot_id = any(%(by_layer)s::uuid[])
      and p.quantity <> 0
  ) s
  where s.event <> %(received)s
  group by 1, 2, 3 having sum(s.quantity) < 0
  order by min(s.entry_id::text), 2, 3
"""


@dataclass(frozen=True, slots=True)
class Stand:
    """How a lot stands: `left` of it, and the layer that its cost lies in with what that holds.

    A use is told by the account where the goods went, with the entry of a making.
    """

    left: Decimal
    layer_id: UUID | None
    value: Decimal
    uses: tuple[Used[tuple[UUID, UUID | None]], ...]


def stands_of(actor: Actor, receipt: Receipt, lots: Sequence[UUID]) -> list[Stand]:
    """How the lots of a delivery stand, in their order, in two queries.

    For whoever has locked their pools.
    """
    own = {"coop": actor.coop_id, "maker": actor.maker, "received": receipt.entry_id}
    with connection.cursor() as cursor:
        cursor.execute(_LEFT, {**own, "lots": list(lots)})
        left = {row[0]: row[1:] for row in cursor.fetchall()}
        by_layer = [lot for lot in lots if left[lot][0] == "fifo"]
        physical = [lot for lot in lots if left[lot][0] != "fifo"]
        cursor.execute(_USES, {**own, "physical": physical, "by_layer": by_layer})
        uses: dict[UUID, list[Used[tuple[UUID, UUID | None]]]] = defaultdict(list)
        for lot, account, making, quantity in cursor.fetchall():
            uses[lot].append(Used((account, making), quantity))
    stands = []
    for lot in lots:
        _, layer_id, value, quantity = left[lot]
        # Without a layer nothing of it is left to be revalued.
        there = quantity if layer_id is not None else Decimal(0)
        stands.append(Stand(there, layer_id, value, tuple(uses[lot])))
    return stands
