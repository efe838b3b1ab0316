"""Alerts of prices that jump: an offer costs more by the pack than what held before it.

What is found is told of the offer, in a review: of the maker who wrote the price at once, since
that owes it one, and of all who have the material when the hour's sweep looks over them. A price
that is dated ahead jumps on its day. It is told for two months, or until the next price.
"""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection

from ledger import outbox
from ledger.access import Actor
from ledger.alert_book import Book, Finding, lock_alerts
from ledger.models import AlertKind
from ledger.offer_prices import rise_percent, unit_price
from ledger.reviewing import REVIEW, reviews

TOLD_FOR: Final = timedelta(days=60)
HUNDREDTH: Final = Decimal("0.01")
# The latest price of each offer of late, and what held just before its day. An offer that all see
# concerns whoever has or had the material, or watches it.
_LATE: Final = """
with late as (
  select distinct on (p.offer_id) p.offer_id, p.id, p.valid_from, p.own_price
    from ledger_offerprice p
   where p.coop_id = %(coop)s and (p.maker_id is null or p.maker_id = %(maker)s)
     and p.valid_from between %(since)s and %(day)s
   order by p.offer_id, p.valid_from desc, p.id desc
)
select o.id, late.id, o.material_id, m.name, m.measured_by = 'count', s.name, c.currency,
       o.quantity, b.own_price, late.own_price
  from late
  join ledger_offer o on o.coop_id = %(coop)s and o.id = late.offer_id
  join ledger_material m on m.coop_id = o.coop_id and m.id = o.material_id
  join ledger_supplier s on s.coop_id = o.coop_id and s.id = o.supplier_id
  join ledger_coop c on c.id = o.coop_id
  cross join lateral (
    select q.own_price from ledger_offerprice q
      where q.coop_id = o.coop_id and q.offer_id = o.id and q.valid_from < late.valid_from
        and q.own_price is not null
      order by q.valid_from desc, q.id desc limit 1) b
 where late.own_price > b.own_price
   and (o.maker_id = %(maker)s
        or exists (select from ledger_custody k where k.coop_id = o.coop_id
                     and k.maker_id = %(maker)s and k.material_id = o.material_id)
        or exists (select from ledger_watch w where w.coop_id = o.coop_id
                     and w.maker_id = %(maker)s and w.material_id = o.material_id))
"""


def owe_review(actor: Actor) -> None:
    """Have the maker's alerts looked over, in the transaction that wrote a price.

    Who acts for no maker owes nothing: the sweep looks over all makers.
    """
    if actor.maker_id is not None:
        # A review that is owed already must not look before this is committed.
        lock_alerts(actor.maker_id)
        outbox.owe(actor.coop_id, actor.maker_id, REVIEW, [actor.maker_id])


@reviews
def review_prices(book: Book, day: date) -> None:
    """Tell of every offer whose price rose by more than the maker's percent; one query."""
    since = date.fromordinal(max(1, day.toordinal() - TOLD_FOR.days))
    given: dict[str, Any] = {"coop": book.coop_id, "maker": book.maker_id}
    given |= {"since": since, "day": day}
    with connection.cursor() as cursor:
        cursor.execute(_LATE, given)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    most = book.announcer.choices.price_jump_percent
    found = [_finding(row) for row in rows if rise_percent(row[-2], row[-1]) > most]
    book.settle(AlertKind.PRICE_JUMP, found)


def _finding(row: tuple[Any, ...]) -> Finding:
    offer: UUID
    offer, price, material, name, counted, supplier, currency, pack, was, now = row
    each = [unit_price(one, pack, counted=counted) for one in (was, now)]
    facts = {
        "name": name,
        "supplier": supplier,
        "was": f"{each[0]:f}",
        "now": f"{each[1]:f}",
        "unit": f"{currency}/{'each' if counted else 'kg'}",
        "percent": f"{rise_percent(was, now).quantize(HUNDREDTH):f}",
    }
    return Finding(offer, facts, state_key=str(price), material_id=material)
