"""What is in the pot: grams of a batch's lines and additions, as far as their entries stand."""

from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection

from formulas.effect import Pot
from formulas.models import Batch, BatchLine

ZERO = Decimal(0)
# Of the other lines and additions what was weighed, and what it will be at the end; of one line
# what was weighed.
_MASSES: Final = """
with weighed as (
  select w.line_id, sum(w.quantity) as grams from formulas_weighing w
    where w.coop_id = %(coop)s and w.batch_id = %(batch)s
      and not exists (select from ledger_entry e
                        where e.coop_id = w.coop_id and e.reverses_id = w.entry_id)
    group by w.line_id),
wanted as (
  select line_id as id, sum(grams) as grams from formulas_wanted
    where coop_id = %(coop)s and batch_id = %(batch)s group by line_id)
select coalesce(sum(w.grams) filter (where l.id <> %(line)s), 0)
         + coalesce((select grams from weighed where line_id is null), 0),
       coalesce(sum(coalesce(nullif(w.grams, 0), l.grams)) filter (where l.id <> %(line)s), 0)
         + coalesce((select grams from weighed where line_id is null), 0),
       coalesce((select grams from weighed where line_id = %(line)s), 0)
  from wanted l left join weighed w on w.line_id = l.id
"""


def pot_of(batch: Batch, line: BatchLine) -> Pot:
    """What a batch holds beside a line, and of it, in one query.

    All additions count. A line weighed in part counts with that part, so finish the others before
    what is added to effect.
    """
    with connection.cursor() as cursor:
        cursor.execute(_MASSES, {"coop": batch.coop_id, "batch": batch.id, "line": line.id})
        return Pot(*cursor.fetchone())


class InPot:
    """The same for every line of a batch fetched with its details, with no query."""

    def __init__(self, batch: Batch) -> None:
        self.weighed: dict[UUID | None, Decimal] = {}
        for one in batch.weighings.all():
            self.weighed[one.line_id] = self.weighed.get(one.line_id, ZERO) + one.quantity
        self.wanted = {line.id: line.grams for line in batch.lines.all()}
        for change in batch.changes.all():
            self.wanted[change.line_id] += change.grams
        self.now = sum(self.weighed.values(), ZERO)
        self.final = self.weighed.get(None, ZERO)
        self.final += sum((self._final(line) for line in batch.lines.all()), ZERO)

    def of(self, line: BatchLine) -> Pot:
        """What is in the pot beside a line, and of it."""
        own = self.weighed.get(line.id, ZERO)
        return Pot(self.now - own, self.final - self._final(line), own)

    def _final(self, line: BatchLine) -> Decimal:
        grams: Decimal = self.weighed.get(line.id, ZERO) or self.wanted[line.id]
        return grams
