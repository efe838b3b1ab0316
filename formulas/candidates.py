"""The lots that a plan has to look at: those that it may pour from, and no more of them.

A maker may have thousands of lots of what a batch needs. First expiry first, a plan pours from the
first few alone, so PostgreSQL leaves out what lies behind them.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS

from formulas.picking import RELEASED, PickableLot
from ledger.access import Actor
from ledger.models import Lot
from ledger.statements import run

# Released lots of which something is promised to no one. They are counted up in the order in which
# `picking` takes them, until what is needed is there; those that are out of date by the day of the
# batch stay all, since they are told of.
_LOTS: Final = """
with stored as (
  select l.id, l.code, h.material_id, l.expires_on, l.retest_on, c.use_by,
         ledger_last_day(l.expires_on, l.retest_on, c.use_by) as last_day, w.needed,
         h.quantity - coalesce(r.quantity, 0) as available
    from unnest(%(materials)s::uuid[], %(needed)s::numeric[]) w(material_id, needed)
    join (select material_id, lot_id, sum(quantity) as quantity from ledger_holding
            where coop_id = %(coop)s and maker_id = %(maker)s and kind = 'store' and any_left
              and material_id = any (%(materials)s::uuid[])
            group by 1, 2) h on h.material_id = w.material_id
    join ledger_lot l on l.coop_id = %(coop)s and l.id = h.lot_id
    join ledger_custody c on c.coop_id = %(coop)s and c.maker_id = %(maker)s
                         and c.lot_id = h.lot_id and c.status = 'released'
    left join (select lot_id, sum(quantity) as quantity from ledger_reservation
                 where coop_id = %(coop)s and maker_id = %(maker)s
                   and material_id = any (%(materials)s::uuid[])
                 group by 1) r on r.lot_id = h.lot_id
), in_turn as (
  select *, last_day is not null and last_day < %(day)s::date as late,
         sum(available) over (
           partition by material_id, last_day is not null and last_day < %(day)s::date
           order by last_day, id rows between unbounded preceding and 1 preceding) as before
    from stored where available > 0
)
select id, code, material_id, expires_on, retest_on, use_by, available from in_turn
  where late or coalesce(before, 0) < needed order by id
"""
_FIELDS: Final = ["id", "code", "material_id", "expires_on", "retest_on"]


@dataclass(frozen=True, slots=True)
class Candidates:
    """Lots by their ids, with code, material and dates alone; and by material, as picking sees
    them."""

    lots: Mapping[UUID, Lot]
    pickable: Mapping[UUID, list[PickableLot]]


def candidates(actor: Actor, needed: Mapping[UUID, Decimal], day: date) -> Candidates:
    """The lots that matter to a batch made on `day` that needs so many grams or pieces.

    Picking from them gives what picking from all would give. One query, whatever there is. The
    pools are locked by then.
    """
    values = {
        "coop": actor.coop_id,
        "maker": actor.maker,
        "materials": list(needed),
        "needed": list(needed.values()),
        "day": day,
    }
    lots: dict[UUID, Lot] = {}
    pickable: dict[UUID, list[PickableLot]] = defaultdict(list)
    for order, (*row, use_by, available) in enumerate(run(_LOTS, values)):
        lot = Lot.from_db(DEFAULT_DB_ALIAS, _FIELDS, row)
        lots[lot.id] = lot
        pickable[lot.material_id].append(
            PickableLot(
                lot=str(lot.id),
                available=available,
                received_order=order,
                status=RELEASED,
                expires_on=lot.expires_on,
                retest_on=lot.retest_on,
                use_by=use_by,
            )
        )
    return Candidates(lots, pickable)
