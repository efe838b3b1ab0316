"""What planned batches lack, and how much of that lies in store by now, promised to nobody.

What came in after a batch was planned is not promised to it by itself: somebody looks again
(`formulas.repicking`). Until then it is told apart from what has to be bought.
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

# Each with all that is released, in store and promised to nobody of its material, by last day.
_LACKS: Final = """
select s.account_id, s.material_id, m.name, m.measured_by = 'count', s.quantity,
       coalesce(f.lots, '[]'), coalesce(p.made_as, o.made_as, ''), o.loss, o.in_making
  from ledger_shortfall s
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
 where s.coop_id = %(coop)s and s.maker_id = %(maker)s and s.quantity > 0
   and s.account_id = any (%(accounts)s::uuid[])
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
