"""What ingredients added to effect came to in the finished batches of a formula, in one query."""

from collections import defaultdict
from fractions import Fraction
from typing import Final
from uuid import UUID

from django.db import connection

from formulas.learning import Learned, learned
from formulas.models import Batch, Line

# Of all versions; a line of which nothing was needed counts with nothing.
_GRAMS: Final = """
select l.material_id, k.weighed_grams, coalesce(sum(w.quantity), 0)
  from formulas_formulaversion v
  join formulas_batch b on b.coop_id = v.coop_id and b.version_id = v.id and b.state = 'finished'
  join formulas_making k on k.coop_id = b.coop_id and k.id = b.making_id
  join formulas_batchline l
    on l.coop_id = b.coop_id and l.batch_id = b.id and l.kind = 'to_effect'
  left join formulas_weighing w
    on w.coop_id = l.coop_id and w.batch_id = b.id and w.line_id = l.id
   and not exists (select from ledger_entry e
                     where e.coop_id = w.coop_id and e.reverses_id = w.entry_id)
 where v.coop_id = %s and v.formula_id = %s and b.id <> %s and l.material_id = any(%s::uuid[])
 group by l.material_id, b.id, k.weighed_grams
"""


def learned_for(batch: Batch) -> dict[UUID, Learned]:
    """For each material that a batch adds to effect, what other batches of its formula teach.

    The batch's lines are at hand; without one to effect there is no query.
    """
    wanted = {line.material_id for line in batch.lines.all() if line.kind == Line.Kind.TO_EFFECT}
    if not wanted:
        return {}
    shares: dict[UUID, list[Fraction]] = defaultdict(list)
    with connection.cursor() as cursor:
        values = [batch.coop_id, batch.version.formula_id, batch.id, sorted(wanted)]
        cursor.execute(_GRAMS, values)
        for material, weighed, grams in cursor.fetchall():
            shares[material].append(Fraction(grams) * 100 / Fraction(weighed))
    found = {material: learned(of_batches) for material, of_batches in shares.items()}
    return {material: one for material, one in found.items() if one is not None}
