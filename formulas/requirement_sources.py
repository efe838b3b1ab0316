"""Where the requirements of one material come from: batch by batch, order by order, lot by lot.

The conditions are those of `requirements`, so that the lines add up to what it tells.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.access import Actor
from ledger.roles import Verb
from ledger.statements import run

_SOURCES: Final = """
select 'promised', b.id, b.code, coalesce(b.planned_for, %(today)s::date), sum(r.quantity)
  from ledger_reservation r
  left join formulas_batch b on b.coop_id = %(coop)s and b.account_id = r.account_id
 where r.coop_id = %(coop)s and r.maker_id = %(maker)s and r.quantity > 0
   and r.material_id = %(material)s
 group by 2, 3, 4
union all
select 'batch', b.id, b.code, coalesce(b.planned_for, %(today)s::date), sum(n.quantity)
  from (select account_id, quantity from ledger_reservation
          where coop_id = %(coop)s and maker_id = %(maker)s and quantity > 0
            and material_id = %(material)s
        union all
        select account_id, quantity from ledger_shortfall
          where coop_id = %(coop)s and maker_id = %(maker)s and quantity > 0
            and material_id = %(material)s) n
  left join formulas_batch b on b.coop_id = %(coop)s and b.account_id = n.account_id
 where coalesce(b.planned_for, %(today)s::date) <= %(until)s::date
 group by 2, 3, 4
union all
select 'order', o.id, o.number, coalesce(s.expected_on, %(today)s::date), sum(s.quantity)
  from ledger_onorder s
  join ledger_purchaseorder o on o.coop_id = s.coop_id and o.id = s.order_id
 where s.coop_id = %(coop)s and s.maker_id = %(maker)s and s.any_left
   and s.material_id = %(material)s
   and coalesce(s.expected_on, %(today)s::date) <= %(until)s::date
 group by 2, 3, 4
union all
select 'making', b.id, b.code, b.planned_for, b.output_grams
  from formulas_batch b
  join formulas_formulaversion v on v.coop_id = b.coop_id and v.id = b.version_id
  join formulas_formula f on f.coop_id = v.coop_id and f.id = v.formula_id
 where b.coop_id = %(coop)s and b.maker_id = %(maker)s and b.state = 'planned'
   and b.product_id is null and f.material_id = %(material)s
   and b.planned_for <= %(until)s::date
union all
select 'shelf', l.id, l.code, '9999-12-31'::date, h.quantity
  from ledger_holding h
  join ledger_lot l on l.coop_id = h.coop_id and l.id = h.lot_id
 where h.coop_id = %(coop)s and h.maker_id = %(maker)s and h.kind = 'store' and h.any_left
   and h.material_id = %(material)s
union all
select 'lot', l.id, l.code,
       coalesce(ledger_last_day(l.expires_on, l.retest_on, c.use_by), '9999-12-31'::date),
       h.quantity
  from ledger_holding h
  join ledger_lot l on l.coop_id = h.coop_id and l.id = h.lot_id
  join ledger_custody c on c.coop_id = h.coop_id and c.maker_id = h.maker_id
                       and c.lot_id = h.lot_id and c.status = 'released'
 where h.coop_id = %(coop)s and h.maker_id = %(maker)s and h.kind = 'store' and h.any_left
   and h.material_id = %(material)s
   and (ledger_last_day(l.expires_on, l.retest_on, c.use_by) is null
        or ledger_last_day(l.expires_on, l.retest_on, c.use_by) >= %(today)s::date)
 order by 4, 3
"""


@dataclass(frozen=True, slots=True)
class Source:
    """So much of a material: what a batch needs, or what an order, a batch or a lot has of it;
    and, apart, what of the first is promised to the batch from what is in store, and what a lot has
    whether it may be used or not.

    `id` and `code` are None where stock is promised to something else than a batch. `on` is when
    it is needed or comes; of a lot its last day, and the end of time if it has none.
    """

    kind: str
    id: UUID | None
    code: str | None
    on: date
    quantity: Decimal


def sources_of(actor: Actor, *, material: UUID, today: date, until: date) -> Sequence[Source]:
    """What needs a material, what will bring some, and what may be used of it today.

    In one query. Raises Forbidden.
    """
    actor.must(Verb.READ)
    own = {"coop": actor.coop_id, "maker": actor.maker}
    asked = {**own, "material": material, "today": today, "until": until}
    return [Source(*row) for row in run(_SOURCES, asked).fetchall()]
