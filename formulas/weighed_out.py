"""Which batches have all that they want: nothing is left to weigh, and the next act is to finish.

A line is in within the tolerance of a weighing; one to effect once somebody has found it enough, of
as much as is in now; what something else has the whole place of is not waited for. It is what the
bench says of one batch, told of many without a query more.
"""

from typing import Final

from django.db.models import BooleanField, QuerySet
from django.db.models.expressions import RawSQL

from formulas.models import Batch
from formulas.shares import TOLERANCE_PERCENT

_NOTHING_LEFT: Final = """
not exists (
  select from (
    select n.line_id, n.material_id, sum(n.grams) as grams from formulas_wanted n
      where n.coop_id = formulas_batch.coop_id and n.batch_id = formulas_batch.id
      group by n.line_id, n.material_id) n
    join formulas_batchline l on l.coop_id = formulas_batch.coop_id and l.id = n.line_id
    left join lateral (
      select sum(w.quantity) as line,
             sum(w.quantity) filter (where t.material_id = n.material_id) as own
        from formulas_weighing w
        join ledger_lot t on t.coop_id = w.coop_id and t.id = w.lot_id
        where w.coop_id = formulas_batch.coop_id and w.batch_id = formulas_batch.id
          and w.line_id = n.line_id
          and not exists (select from ledger_entry e
                            where e.coop_id = w.coop_id and e.reverses_id = w.entry_id)) w on true
    left join lateral (
      select e.enough and e.grams = w.line as said from formulas_enough e
        where e.coop_id = formulas_batch.coop_id and e.line_id = n.line_id
        order by e.id desc limit 1) e on true
    where not (n.grams = 0 and coalesce(w.own, 0) = 0
               and (l.grams > 0 or l.material_id <> n.material_id))
      and (coalesce(w.own, 0) <= 0
           or case l.kind when 'to_effect' then not coalesce(e.said, false)
              else w.own < n.grams * %s / 100 end))
"""


def with_weighed_out(batches: "QuerySet[Batch]") -> "QuerySet[Batch]":
    """The same, each with `weighed_out`: whether nothing is left to weigh for it."""
    least = [100 - TOLERANCE_PERCENT]
    whole = RawSQL(_NOTHING_LEFT, least, output_field=BooleanField())  # noqa: S611
    return batches.annotate(weighed_out=whole)
