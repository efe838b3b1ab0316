"""Alerts of single lots: those that end before they are used, are to be retested, or wait too long.

Only what lies in the maker's own store counts, and a rejected lot is no longer of interest.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection

from ledger.alert_book import Book, Finding
from ledger.expiry_risk import DatedLot, at_risk
from ledger.models import AlertKind
from ledger.other_users import NOBODY, OtherUsers, other_users
from ledger.reviewing import reviews
from ledger.usage_reading import mean_daily_use

# A message has its bounds.
MOST_NAMED: Final = 10
SIX_PLACES: Final = Decimal("0.000001")
_LOTS: Final = """
select h.material_id, m.name, m.measured_by = 'count', h.lot_id, l.code, h.quantity,
       l.expires_on, l.retest_on, c.opened_on, c.use_by, c.status, c.since,
       coalesce((select sum(r.quantity) from ledger_reservation r
                   where r.coop_id = %(coop)s and r.maker_id = %(maker)s
                     and r.lot_id = h.lot_id), 0)
  from (select material_id, lot_id, sum(quantity) as quantity from ledger_holding
          where coop_id = %(coop)s and maker_id = %(maker)s and kind = 'store' and any_left
          group by 1, 2) h
  join ledger_lot l on l.coop_id = %(coop)s and l.id = h.lot_id
  join ledger_material m on m.coop_id = %(coop)s and m.id = h.material_id
  join ledger_custody c
    on c.coop_id = %(coop)s and c.maker_id = %(maker)s and c.lot_id = h.lot_id
 where c.status <> 'rejected'
   and (ledger_last_day(l.expires_on, l.retest_on, c.use_by) is not null
        or c.status = 'quarantine')
"""


@dataclass(frozen=True, slots=True)
class _Lot:
    """A lot in store that has a date or waits in quarantine."""

    material_id: UUID
    name: str
    counted: bool
    id: UUID
    code: str
    quantity: Decimal
    expires_on: date | None
    retest_on: date | None
    opened_on: date | None
    use_by: date | None
    status: str
    since: Any
    promised: Decimal

    @property
    def ends_on(self) -> date | None:
        """The day on which it goes off, whatever a retest says: by its expiry, or since it is
        open."""
        return min((day for day in (self.expires_on, self.use_by) if day), default=None)

    @property
    def is_open(self) -> dict[str, str]:
        """What is told of a lot that goes off earlier since it is open."""
        if self.opened_on is None or self.use_by is None or self.use_by != self.ends_on:
            return {}
        return {"opened_on": self.opened_on.isoformat(), "use_by": self.use_by.isoformat()}

    def goes_in_time(self, day: date) -> bool:
        """Whether planned batches take all of it: they were promised it since it keeps until their
        own day."""
        dated = self.ends_on is not None and day <= self.ends_on
        return dated and self.promised >= self.quantity

    def finding(self, **facts: Any) -> Finding:
        own = {"name": self.name, "counted": self.counted, "lot": self.code}
        quantity = {"quantity": f"{self.quantity:f}"}
        return Finding(
            self.id, {**own, **quantity, **facts}, material_id=self.material_id, lot_id=self.id
        )


@reviews
def review_lots(book: Book, day: date) -> None:
    """Look over every lot in store, by four queries and what opens."""
    lots = _lots(book)
    choices, zone = book.announcer.choices, book.announcer.zone
    book.settle(AlertKind.EXPIRING, _expiring(book, lots, day))
    retest_by = day + timedelta(days=choices.retest_days)
    book.settle(
        AlertKind.RETEST_DUE,
        [
            lot.finding(retest_on=lot.retest_on.isoformat())
            for lot in lots
            if lot.retest_on is not None and lot.retest_on <= retest_by
        ],
    )
    since = day - timedelta(days=choices.quarantine_days)
    book.settle(
        AlertKind.QUARANTINE_AGEING,
        [
            lot.finding(since=begun.isoformat())
            for lot in lots
            if lot.status == "quarantine" and (begun := lot.since.astimezone(zone).date()) <= since
        ],
    )


def _lots(book: Book) -> list[_Lot]:
    with connection.cursor() as cursor:
        cursor.execute(_LOTS, {"coop": book.coop_id, "maker": book.maker_id})
        return [_Lot(*row) for row in cursor]


def _expiring(book: Book, lots: Sequence[_Lot], day: date) -> list[Finding]:
    """Those that end within the chosen days, or with some of them left at the usual use; of what
    planned batches take in time nothing is left.

    A lot that is used by nobody is told of only within the chosen days: a date years away is no
    news.
    """
    of_material: dict[UUID, list[_Lot]] = defaultdict(list)
    for lot in lots:
        if lot.ends_on is not None:
            of_material[lot.material_id].append(lot)
    use = mean_daily_use(book.coop_id, book.maker_id, of_material, today=day)
    soon = day + timedelta(days=book.announcer.choices.expiring_days)
    found: list[tuple[_Lot, Decimal]] = []
    for material, dated in of_material.items():
        rate = use.get(material, Decimal(0))
        left = at_risk(
            [
                DatedLot(one.id, one.quantity, one.ends_on, one.promised)
                for one in dated
                if one.ends_on
            ],
            rate,
            day,
        )
        found += [
            (one, left[one.id])
            for one in dated
            if one.ends_on
            and not one.goes_in_time(day)
            and (one.ends_on <= soon or (rate > 0 and left[one.id] > 0))
        ]
    others = other_users({lot.material_id for lot, _ in found})
    return [
        lot.finding(
            expires_on=lot.expires_on and lot.expires_on.isoformat(),
            at_risk=f"{risk.quantize(SIX_PLACES):f}",
            daily_use=f"{use.get(lot.material_id, Decimal(0)).quantize(SIX_PLACES):f}",
            promised=f"{lot.promised:f}",
            **lot.is_open,
            **_told_of(others.get(lot.material_id, NOBODY)),
        )
        for lot, risk in found
    ]


def _told_of(others: OtherUsers) -> dict[str, Any]:
    return {"others": others.makers, "others_named": [*others.names[:MOST_NAMED]]}
