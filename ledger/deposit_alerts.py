"""Alerts of deposits that nobody has claimed back, for drums that are long empty."""

from datetime import date, timedelta
from typing import Final

from django.db import connection

from ledger.alert_book import Book, Finding
from ledger.models import AlertKind
from ledger.money import round_money
from ledger.reviewing import reviews

_OUT: Final = """
select d.id, s.name, c.currency, d.amount, d.happened_at, l.code
  from ledger_deposit d
  join ledger_supplier s on s.coop_id = d.coop_id and s.id = d.supplier_id
  join ledger_coop c on c.id = d.coop_id
  left join ledger_lot l on l.coop_id = d.coop_id and l.id = d.lot_id
 where d.coop_id = %(coop)s and d.maker_id = %(maker)s and not exists (
   select from ledger_depositreturn r
     where r.coop_id = d.coop_id and r.maker_id = d.maker_id and r.deposit_id = d.id)
"""


@reviews
def review_deposits(book: Book, day: date) -> None:
    """Tell of every deposit that has been out for the chosen days; one query."""
    since = day - timedelta(days=book.announcer.choices.deposit_days)
    with connection.cursor() as cursor:
        cursor.execute(_OUT, {"coop": book.coop_id, "maker": book.maker_id})
        rows = cursor.fetchall()
    found = []
    for deposit, supplier, currency, amount, paid_at, lot in rows:
        paid_on = paid_at.astimezone(book.announcer.zone).date()
        if paid_on <= since:
            facts = {
                "supplier": supplier,
                "amount": f"{round_money(amount, currency):f}",
                "currency": currency,
                "paid_on": paid_on.isoformat(),
                "came_in": lot or "",
            }
            found.append(Finding(deposit, facts))
    book.settle(AlertKind.DEPOSIT_UNCLAIMED, found)
