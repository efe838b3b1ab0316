"""What a material was offered at, and what it cost on the shelf, day by day."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor, material_for
from ledger.errors import Invalid
from ledger.models import Material
from ledger.offer_prices import unit_price
from ledger.roles import Verb

# Of each series; a shorter stretch of days shows the rest.
MOST: Final = 500
A_YEAR: Final = 365
# Of two prices of an offer for one day the later written one holds.
_OFFERED: Final = """
select * from (
  select distinct on (p.offer_id, p.valid_from)
         p.valid_from, p.id, o.id as offer_id, o.supplier_id, s.name, o.maker_id is null, o.entered,
         o.quantity, p.price, p.currency, p.own_price
    from ledger_offer o
    join ledger_supplier s on s.coop_id = o.coop_id and s.id = o.supplier_id
    join ledger_offerprice p on p.coop_id = o.coop_id and p.offer_id = o.id
   where o.coop_id = %(coop)s and o.material_id = %(material)s
     and (o.maker_id is null or o.maker_id = %(maker)s)
     and p.valid_from between %(first)s and %(last)s
   order by p.offer_id, p.valid_from, p.id desc) latest
 order by valid_from desc, id desc limit %(most)s
"""
# What a lot cost with the bills that came later; deliveries that were undone are left out.
_LANDED: Final = """
select (r.happened_at at time zone %(zone)s)::date, n.id, r.id, n.lot_id, l.code, r.supplier_id,
       s.name, n.quantity, n.goods, n.landed_cost + coalesce((
         select sum(y.amount) from ledger_billline y
           join ledger_bill b on b.coop_id = y.coop_id and b.id = y.bill_id
           where y.coop_id = n.coop_id and y.line_id = n.id
             and not exists (select from ledger_entry e
                               where e.coop_id = b.coop_id and e.reverses_id = b.entry_id)), 0)
  from ledger_lot l
  join ledger_receiptline n on n.coop_id = l.coop_id and n.lot_id = l.id
    and n.maker_id = %(maker)s
  join ledger_receipt r on r.coop_id = n.coop_id and r.id = n.receipt_id
  join ledger_supplier s on s.coop_id = r.coop_id and s.id = r.supplier_id
 where l.coop_id = %(coop)s and l.material_id = %(material)s
   and (r.happened_at at time zone %(zone)s)::date between %(first)s and %(last)s
   and not exists (select from ledger_entry e
                     where e.coop_id = r.coop_id and e.reverses_id = r.entry_id)
 order by r.happened_at desc, n.id desc limit %(most)s
"""


@dataclass(frozen=True, slots=True)
class OfferedPoint:
    """A price from its day on; None from the day on which the pack is not offered any more."""

    on: date
    offer: UUID
    supplier: UUID
    supplier_name: str
    opened: bool
    pack: str
    price: Decimal | None
    currency: str
    unit_price: Decimal | None


@dataclass(frozen=True, slots=True)
class LandedPoint:
    """A delivered lot: goods alone, and with freight, duty, tax and bills that came later."""

    on: date
    receipt: UUID
    lot: UUID
    lot_code: str
    supplier: UUID
    supplier_name: str
    goods: Decimal
    landed: Decimal


@dataclass(frozen=True, slots=True)
class PriceHistory:
    """Both series, the latest first, in the co-op's currency per kilogram, or per piece.

    `more` says that there were more rows in these days than are shown.
    """

    material: Material
    offered: list[OfferedPoint]
    landed: list[LandedPoint]
    more: bool


def price_history(
    actor: Actor, *, material: UUID | str, first: date | None, last: date
) -> PriceHistory:
    """What a material was offered at and what it cost, between two days. Two queries.

    Without a first day it is the year up to the last.

    Who acts for no maker sees what is opened to all, and no costs. Raises NotFound, Forbidden, and
    Invalid where the last day comes before the first.
    """
    actor.must(Verb.SEE_OFFERS)
    found = material_for(actor, material)
    first = first or date.fromordinal(max(1, last.toordinal() - A_YEAR))
    if last < first:
        raise Invalid("The last day comes before the first.", pointer="/to")
    given = {
        "coop": actor.coop_id,
        "maker": actor.maker_id,
        "material": found.id,
        "first": first,
        "last": last,
        "zone": actor.time_zone,
        "most": MOST + 1,
    }
    offered = [_offered(row, found) for row in _rows(_OFFERED, given)]
    landed = []
    if actor.maker_id is not None and actor.may(Verb.SEE_COSTS):
        landed = [_landed(row, found) for row in _rows(_LANDED, given)]
    more = max(len(offered), len(landed)) > MOST
    return PriceHistory(found, offered[:MOST], landed[:MOST], more)


def _rows(sql: str, given: dict[str, Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, given)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    return rows


def _offered(row: tuple[Any, ...], material: Material) -> OfferedPoint:
    on, _, offer, supplier, name, opened, pack, quantity, price, currency, own = row
    each = None if own is None else unit_price(own, quantity, counted=material.counted)
    return OfferedPoint(on, offer, supplier, name, opened, pack, price, currency, each)


def _landed(row: tuple[Any, ...], material: Material) -> LandedPoint:
    on, _, receipt, lot, code, supplier, name, quantity, goods, landed = row
    each = [unit_price(one, quantity, counted=material.counted) for one in (goods, landed)]
    return LandedPoint(on, receipt, lot, code, supplier, name, *each)
