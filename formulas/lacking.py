"""What planned batches lack, and how much of that lies in store by now, promised to nobody.

What came in after a batch was planned is not promised to it by itself: somebody looks again
(`formulas.repicking`). Until then it is told apart from what has to be bought. What was promised of
a lot that was held or rejected since is lacking as well.
"""

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_CEILING, Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection

from formulas.models import Batch
from formulas.scaling import SCALE_STEP
from formulas.shortness import FreeLot, Lack, short_of
from ledger.access import Actor

# What a batch could not be promised, and what it was promised of lots that may not be used on its
# day any more: no more of that than it still needs. Each with all that is released, in store and
# promised to nobody of its material, by last day.
_LACKS: Final = """
with noted as (
  select account_id, material_id, quantity from ledger_shortfall
   where coop_id = %(coop)s and maker_id = %(maker)s and quantity > 0
     and account_id = any (%(accounts)s::uuid[])
), promised as (
  select b.id as batch_id, b.units, r.account_id, r.material_id,
         sum(r.quantity) filter (where not h.holds) as lost,
         coalesce(sum(r.quantity) filter (where h.holds), 0) as kept
    from formulas_batch b
    join ledger_reservation r on r.coop_id = %(coop)s and r.maker_id = %(maker)s
      and r.account_id = b.account_id and r.quantity > 0
    join ledger_lot l on l.coop_id = %(coop)s and l.id = r.lot_id
    join ledger_custody c on c.coop_id = %(coop)s and c.maker_id = %(maker)s
      and c.lot_id = r.lot_id
    cross join lateral (
      select c.status = 'released' and coalesce(
        ledger_last_day(l.expires_on, l.retest_on, c.use_by) >= b.planned_for, true) as holds) h
   where b.coop_id = %(coop)s and b.account_id = any (%(accounts)s::uuid[])
   group by 1, 2, 3, 4 having bool_or(not h.holds)
), lost as (
  select p.account_id, p.material_id, least(p.lost, n.wanted - w.weighed - p.kept - coalesce((
           select d.quantity from noted d
             where d.account_id = p.account_id and d.material_id = p.material_id), 0)) as quantity
    from promised p
    cross join lateral (
      select coalesce((select sum(x.grams) from formulas_wanted x where x.coop_id = %(coop)s
               and x.batch_id = p.batch_id and x.material_id = p.material_id), 0)
             + coalesce((select sum(k.per_unit) * p.units from formulas_batchpackaging k
               where k.coop_id = %(coop)s and k.batch_id = p.batch_id
                 and k.material_id = p.material_id), 0) as wanted) n
    cross join lateral (
      select coalesce(sum(x.quantity), 0) as weighed from ledger_holding x
        where x.coop_id = %(coop)s and x.account_id = p.account_id
          and x.material_id = p.material_id) w
), lacks as (
  select account_id, material_id, sum(quantity) as quantity
    from (select * from noted union all select * from lost where quantity > 0) a group by 1, 2
)
select s.account_id, s.material_id, m.name, m.measured_by = 'count', s.quantity,
       coalesce(f.lots, '[]'), coalesce(p.made_as, o.made_as, ''), o.loss, o.in_making
  from lacks s
  join ledger_material m on m.coop_id = %(coop)s and m.id = s.material_id
  left join lateral (
    select jsonb_agg(jsonb_build_array(d.quantity::text, d.last_day)) as lots
      from (select ledger_last_day(l.expires_on, l.retest_on, c.use_by) as last_day,
                   sum(greatest(h.quantity - coalesce(r.promised, 0), 0)) as quantity
              from ledger_holding h
              join ledger_lot l on l.coop_id = %(coop)s and l.id = h.lot_id
              join ledger_custody c on c.coop_id = %(coop)s and c.maker_id = %(maker)s
                and c.lot_id = h.lot_id and c.status = 'released'
              left join lateral (
                select sum(x.quantity) as promised from ledger_reservation x
                  where x.coop_id = %(coop)s and x.maker_id = %(maker)s
                    and x.lot_id = h.lot_id) r on true
             where h.coop_id = %(coop)s and h.maker_id = %(maker)s and h.kind = 'store'
               and h.any_left and h.material_id = s.material_id
             group by 1) d) f on true
  left join lateral (
    select 'product:' || p.id as made_as from formulas_product p
      where p.coop_id = %(coop)s and p.maker_id = %(maker)s and p.material_id = s.material_id
      limit 1) p on true
  left join lateral (
    select 'formula:' || g.id as made_as,
           (select v.process_loss_percent from formulas_formulaversion v
              where v.coop_id = %(coop)s and v.formula_id = g.id
              order by v.number desc limit 1) as loss,
           (select b.id from formulas_batch b
              join formulas_formulaversion v on v.coop_id = %(coop)s and v.id = b.version_id
             where b.coop_id = %(coop)s and b.maker_id = %(maker)s and b.state = 'planned'
               and b.product_id is null and v.formula_id = g.id
             order by b.planned_for, b.id limit 1) as in_making
      from formulas_formula g
      where g.coop_id = %(coop)s and g.maker_id = %(maker)s and g.material_id = s.material_id
      limit 1) o on true
 order by m.name, m.id
"""


@dataclass(frozen=True, slots=True)
class Lacking:
    """So much of a material, in grams or pieces, of which so much is `there` to be promised.

    What the maker makes itself is planned as `made_as`, such as "formula:" and an id, "" for
    others. So many percent of what goes into its pot are lost; `in_making` is a batch of it that is
    planned already, or None.
    """

    material_id: UUID
    name: str
    counted: bool
    quantity: Decimal
    there: Decimal
    made_as: str
    loss_percent: Decimal | None
    in_making: UUID | None

    @property
    def to_make(self) -> Decimal:
        """How much is to go into its pot, or is to be filled, so that as much comes out as is not
        there: to the step of a scale, and never less."""
        out = (100 - (self.loss_percent or 0)) / Decimal(100)
        step = Decimal(1) if self.counted else SCALE_STEP
        return ((self.quantity - self.there) / out).quantize(step, ROUND_CEILING)


@dataclass(frozen=True, slots=True)
class Short:
    """A planned batch, and what it lacks, in the order of the materials' names."""

    batch: Batch
    lacks: Sequence[Lacking]

    @property
    def to_get(self) -> Sequence[Lacking]:
        """What is not all in store."""
        return [one for one in self.lacks if one.there < one.quantity]

    @property
    def to_buy(self) -> Sequence[Lacking]:
        """What of that comes from others."""
        return [one for one in self.to_get if not one.made_as]

    @property
    def to_make(self) -> Sequence[Lacking]:
        """What of it the maker makes itself."""
        return [one for one in self.to_get if one.made_as]

    @property
    def there(self) -> bool:
        """Whether to look again in the store would promise it something."""
        return any(one.there for one in self.lacks)


def short_batches(actor: Actor, batches: Sequence[Batch]) -> list[Short]:
    """Those of the planned batches that lack something, in one query.

    What is there goes to the batch whose day comes first, out of lots that last until that day.
    """
    found: dict[UUID, list[Lacking]] = defaultdict(list)
    of_account = {batch.account_id: batch for batch in batches}
    own: dict[str, Any] = {"coop": actor.coop_id, "maker": actor.maker}
    with connection.cursor() as cursor:
        cursor.execute(_LACKS, {**own, "accounts": list(of_account)})
        rows = cursor.fetchall()
    lacks: dict[UUID, list[Lack]] = defaultdict(list)
    free: dict[UUID, list[FreeLot]] = {}
    for account, material, _name, _counted, quantity, lots, *_made in rows:
        batch = of_account[account]
        lacks[material].append(Lack(batch.id, batch.planned_for, quantity))
        free[material] = [
            FreeLot(Decimal(much), day and date.fromisoformat(day))
            for much, day in json.loads(lots)
        ]
    short = {id: short_of(wanted, free[id], Decimal(0)) for id, wanted in lacks.items()}
    for account, material, name, counted, quantity, _lots, *made in rows:
        batch = of_account[account]
        there = quantity - short[material].get(batch.id, Decimal(0))
        found[batch.id].append(Lacking(material, name, counted, quantity, there, *made))
    return [Short(batch, found[batch.id]) for batch in batches if batch.id in found]
