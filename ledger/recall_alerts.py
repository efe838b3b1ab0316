"""Alerts of lots that another maker calls back, until the notice is answered."""

from datetime import date
from typing import Final

from django.db import connection

from ledger.alert_book import Book, Finding
from ledger.models import AlertKind
from ledger.reviewing import reviews

_UNANSWERED: Final = """
select n.id, n.lot_id, l.code, l.material_id, m.name, m.measured_by = 'count', n.quantity, k.name,
       n.reason
  from ledger_recallnotice n
  join ledger_lot l on l.coop_id = n.coop_id and l.id = n.lot_id
  join ledger_material m on m.coop_id = n.coop_id and m.id = l.material_id
  join ledger_maker k on k.coop_id = n.coop_id and k.id = n.maker_id
 where n.coop_id = %(coop)s and n.to_maker_id = %(maker)s and not exists (
   select from ledger_recallanswer a
     where a.coop_id = n.coop_id and a.maker_id = n.to_maker_id and a.notice_id = n.id)
"""


@reviews
def review_notices(book: Book, day: date) -> None:
    """Tell of every notice that waits for an answer; one query."""
    with connection.cursor() as cursor:
        cursor.execute(_UNANSWERED, {"coop": book.coop_id, "maker": book.maker_id})
        rows = cursor.fetchall()
    found = []
    for notice, lot, code, material, name, counted, quantity, by, reason in rows:
        facts = {
            "name": name,
            "counted": counted,
            "lot": code,
            "quantity": f"{quantity:f}",
            "by": by,
            "reason": reason,
        }
        found.append(Finding(notice, facts, material_id=material, lot_id=lot))
    book.settle(AlertKind.CALLED_BACK, found)
