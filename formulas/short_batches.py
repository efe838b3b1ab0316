"""The alert of a planned batch that can't be made: what it is short of, and by when to order it."""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection

from formulas.models import Batch
from formulas.shortness import FreeLot, Lack, short_of
from ledger import outbox
from ledger.alert_book import Book, Finding
from ledger.lead_time_reading import lead_times_for
from ledger.lead_times import days_to_plan_by
from ledger.models import AlertKind, Material, Watch
from ledger.outbox import Work
from ledger.reviewing import reviews

# Owed by a verb that changed what the account of a batch lacks.
LOOK: Final = "review_batches"
# A message has its bounds; whoever wants to know more looks at the batch.
MOST_NAMED: Final = 15
# What a planned batch needs beyond the promises that hold on its day: what it could not be
# promised, and promises of lots that may not be used then.
_LACKS: Final = """
with planned as (
  select id, account_id, greatest(planned_for, %(day)s::date) as day
    from formulas_batch
    where coop_id = %(coop)s and maker_id = %(maker)s and state = 'planned'
), lacks as (
  select b.id, b.day, s.material_id, s.quantity
    from planned b join ledger_shortfall s
      on s.coop_id = %(coop)s and s.maker_id = %(maker)s and s.account_id = b.account_id
  union all
  select b.id, b.day, r.material_id, r.quantity
    from planned b
    join ledger_reservation r
      on r.coop_id = %(coop)s and r.maker_id = %(maker)s and r.account_id = b.account_id
    join ledger_lot l on l.coop_id = %(coop)s and l.id = r.lot_id
    join ledger_custody c
      on c.coop_id = %(coop)s and c.maker_id = %(maker)s and c.lot_id = r.lot_id
    where c.status <> 'released' or ledger_last_day(l.expires_on, l.retest_on, c.use_by) < b.day
)
select material_id, id, day, sum(quantity) from lacks where quantity > 0 group by 1, 2, 3
"""
_FREE: Final = """
select h.material_id, sum(h.quantity) - coalesce((
         select sum(r.quantity) from ledger_reservation r
           where r.coop_id = %(coop)s and r.maker_id = %(maker)s and r.lot_id = h.lot_id), 0),
       (select ledger_last_day(l.expires_on, l.retest_on, c.use_by) from ledger_lot l
          where l.coop_id = %(coop)s and l.id = h.lot_id)
  from ledger_holding h
  join ledger_custody c on c.coop_id = %(coop)s and c.maker_id = %(maker)s
    and c.lot_id = h.lot_id and c.status = 'released'
 where h.coop_id = %(coop)s and h.maker_id = %(maker)s and h.kind = 'store' and h.any_left
   and h.material_id = any (%(materials)s::uuid[])
 group by h.material_id, h.lot_id, c.use_by
"""
_ON_ORDER: Final = """
select material_id, on_order from ledger_stock(%(materials)s::uuid[], %(day)s)
"""


@outbox.does(LOOK)
def look_at_batches(work: Work, now: datetime) -> None:
    """Look over the plans of a maker; whichever changed, all share what nobody was promised."""
    with outbox.inside(work):
        book = Book(work.coop_id, work.maker_id, now)
        book.lock()
        review_batches(book, now.astimezone(book.announcer.zone).date())
        outbox.mark_done(work)


@reviews
def review_batches(book: Book, day: date) -> None:
    """Open and close the alerts of all planned batches, by seven queries and what opens.

    An alert that named other materials than are short now is closed, and the new one names them.
    """
    own = {"coop": book.coop_id, "maker": book.maker_id, "day": day}
    lacks: dict[UUID, list[Lack]] = defaultdict(list)
    for material, batch, needed_on, quantity in _rows(_LACKS, own):
        lacks[material].append(Lack(batch, needed_on, quantity))
    found = _shortages(book, own, lacks) if lacks else {}
    batches = Batch.objects.filter(maker_id=book.maker_id, id__in=found).only(
        "id", "code", "planned_for"
    )
    book.settle(AlertKind.BATCH_SHORT, [_finding(batch, found[batch.id]) for batch in batches])


def _shortages(
    book: Book, own: Mapping[str, Any], lacks: Mapping[UUID, Sequence[Lack]]
) -> dict[UUID, list[tuple[Material, Decimal, int | None]]]:
    """By batch: what it is short of, and the days of waiting for it, as deliveries tell or else as
    the maker states them."""
    asked = {**own, "materials": list(lacks)}
    free: dict[UUID, list[FreeLot]] = defaultdict(list)
    for material, quantity, last_day in _rows(_FREE, asked):
        free[material].append(FreeLot(max(quantity, Decimal(0)), last_day))
    on_order = dict(_rows(_ON_ORDER, asked))
    materials = Material.objects.in_bulk(list(lacks))
    watches = Watch.objects.filter(maker_id=book.maker_id, material_id__in=lacks)
    stated = dict(watches.values_list("material_id", "lead_days"))
    measured = lead_times_for(
        book.coop_id, book.maker_id, lacks, time_zone=book.announcer.zone.key, day=own["day"]
    )
    found: dict[UUID, list[tuple[Material, Decimal, int | None]]] = defaultdict(list)
    for material, wanted in lacks.items():
        coming = on_order.get(material, Decimal(0))
        wait = days_to_plan_by(measured.get(material), stated.get(material))
        for batch, quantity in short_of(wanted, free[material], coming).items():
            found[batch].append((materials[material], quantity, wait))
    return found


def _finding(batch: Batch, short: Iterable[tuple[Material, Decimal, int | None]]) -> Finding:
    named = sorted(short, key=lambda one: (one[0].name, one[0].id))
    facts = {
        "code": batch.code,
        "planned_for": batch.planned_for.isoformat(),
        "short": [
            {
                "material": str(material.id),
                "name": material.name,
                "counted": material.counted,
                "quantity": f"{quantity:f}",
                "order_by": None
                if days is None
                else (batch.planned_for - timedelta(days=days)).isoformat(),
            }
            for material, quantity, days in named[:MOST_NAMED]
        ],
        "more": max(0, len(named) - MOST_NAMED),
    }
    ids = " ".join(str(material.id) for material, _, _ in named)
    key = hashlib.sha256(f"{batch.planned_for} {ids}".encode()).hexdigest()
    return Finding(batch.id, facts, state_key=key)


def _rows(statement: str, values: Mapping[str, Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return list(cursor)
