"""What ingredients added to effect came to in the finished batches of a formula, in one query."""

from collections import defaultdict
from fractions import Fraction
from typing import Final
from uuid import UUID

from django.db import connection

from formulas.learning import Learned, learned
from formulas.models import Batch, Line

# Of all versions, what was poured for a line of its own material and of what a top-up put in its
# place, with the active matter of each where the formula states it. A line of which nothing was
# needed counts with nothing.
_GRAMS: Final = """
select l.material_id, b.id, k.weighed_grams, coalesce(sum(w.quantity), 0), t.other_percent,
       f.active_percent
  from formulas_formulaversion v
  join formulas_batch b on b.coop_id = v.coop_id and b.version_id = v.id and b.state = 'finished'
  join formulas_making k on k.coop_id = b.coop_id and k.id = b.making_id
  join formulas_batchline l
    on l.coop_id = b.coop_id and l.batch_id = b.id and l.kind = 'to_effect'
  join formulas_line f
    on f.coop_id = v.coop_id and f.version_id = v.id and f.position = l.position
  left join (formulas_weighing w join ledger_lot o on o.coop_id = w.coop_id and o.id = w.lot_id)
    on w.coop_id = l.coop_id and w.batch_id = b.id and w.line_id = l.id
   and not exists (select from ledger_entry e
                     where e.coop_id = w.coop_id and e.reverses_id = w.entry_id)
   and (o.material_id = l.material_id
        or exists (select from formulas_linechange c
                     where c.coop_id = l.coop_id and c.line_id = l.id
                       and c.material_id = o.material_id))
  left join lateral (
    select s.other_percent from formulas_topup s
     where s.coop_id = l.coop_id and s.batch_id = b.id and s.line_id = l.id
       and s.material_id = o.material_id and o.material_id <> l.material_id
     order by s.id desc limit 1) t on true
 where v.coop_id = %s and v.formula_id = %s and b.id <> %s and l.material_id = any(%s::uuid[])
 group by l.material_id, b.id, k.weighed_grams, t.other_percent, f.active_percent
"""


def learned_for(batch: Batch) -> dict[UUID, Learned]:
    """For each material that a batch adds to effect, what other batches of its formula teach.

    What stood in for the material counts as so much of it as has the same active matter, or one to
    one. The batch's lines are at hand; without one to effect there is no query.
    """
    wanted = {line.material_id for line in batch.lines.all() if line.kind == Line.Kind.TO_EFFECT}
    if not wanted:
        return {}
    shares: dict[UUID, dict[UUID, Fraction]] = defaultdict(lambda: defaultdict(Fraction))
    with connection.cursor() as cursor:
        values = [batch.coop_id, batch.version.formula_id, batch.id, sorted(wanted)]
        cursor.execute(_GRAMS, values)
        for material, of_batch, weighed, grams, other, own in cursor.fetchall():
            as_own = Fraction(grams) * (Fraction(other) / Fraction(own) if other and own else 1)
            shares[material][of_batch] += as_own * 100 / Fraction(weighed)
    found = {material: learned([*batches.values()]) for material, batches in shares.items()}
    return {material: one for material, one in found.items() if one is not None}
