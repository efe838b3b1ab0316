"""An older lot that could still be used, beside the one that was poured (ISO 22716 6.6.7).

The oldest released stock goes first, "special circumstances" excepted: nothing is refused here.
Which lot stood waiting is said and kept beside the weighing, with a reason if one is given.
"""

from dataclasses import dataclass
from datetime import date
from typing import Final
from uuid import UUID

from formulas.models import Batch, BatchLine
from ledger.access import Actor
from ledger.lots import last_usable_day
from ledger.models import Lot
from ledger.statements import run

# The lot of a material that goes out of date first, of those that may be used on the day and are
# not promised to other batches; among those of one date the one that came first. None where the
# poured lot was chosen for the line: the lots of a plan may be poured in any order.
_EARLIER: Final = """
select l.id, l.code, ledger_last_day(l.expires_on, l.retest_on, c.use_by)
  from (select lot_id, sum(quantity) as quantity from ledger_holding
          where coop_id = %(coop)s and maker_id = %(maker)s and kind = 'store' and any_left
            and material_id = %(material)s and lot_id <> %(poured)s
          group by 1) h
  join ledger_lot l on l.coop_id = %(coop)s and l.id = h.lot_id
  join ledger_custody c
    on c.coop_id = %(coop)s and c.maker_id = %(maker)s and c.lot_id = h.lot_id
 where c.status = 'released'
   and coalesce(ledger_last_day(l.expires_on, l.retest_on, c.use_by), 'infinity') >= %(day)s
   and (coalesce(ledger_last_day(l.expires_on, l.retest_on, c.use_by), 'infinity'), l.arrived_on)
         < (coalesce(%(last)s::date, 'infinity'), %(arrived)s::date)
   and h.quantity > coalesce((
         select sum(r.quantity) from ledger_reservation r
          where r.coop_id = %(coop)s and r.maker_id = %(maker)s and r.lot_id = h.lot_id
            and r.account_id <> %(account)s), 0)
   and not exists (
         select from formulas_pick p
          where p.coop_id = %(coop)s and p.batch_id = %(batch)s and p.line_id = %(line)s
            and p.lot_id = %(poured)s)
 order by 3 nulls last, l.arrived_on, l.id limit 1
"""


@dataclass(frozen=True, slots=True)
class EarlierLot:
    """A lot that was to go first, with the last day on which it may be used; None if unsaid."""

    id: UUID
    code: str
    last_day: date | None


def earlier_lot(
    actor: Actor,
    batch: Batch,
    line: BatchLine | None,
    poured: Lot,
    day: date,
    use_by: date | None,
) -> EarlierLot | None:
    """The older lot that the poured one was taken before, in one query; none of what is unstocked.

    `use_by` is that of the poured one, if it was open before.
    A lot whose last day is the earlier one is the older; with the same day, or where neither has
    one, the lot that arrived earlier.
    """
    if not poured.material.stocked:
        return None
    found = run(
        _EARLIER,
        {
            "coop": actor.coop_id,
            "maker": actor.maker,
            "material": poured.material_id,
            "poured": poured.id,
            "day": day,
            "last": last_usable_day(poured, use_by),
            "arrived": poured.arrived_on,
            "account": batch.account_id,
            "batch": batch.id,
            "line": line and line.id,
        },
    )
    return next((EarlierLot(*row) for row in found), None)
