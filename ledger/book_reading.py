"""The books over time: what stock was worth on a day, and what left it in a period.

Everything goes by the day when it happened, whenever it was written down. Grams or pieces, and
money of the co-op; a fixed number of queries, whatever there is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from ledger.access import Actor, material_for
from ledger.errors import Invalid
from ledger.models import Material
from ledger.roles import Verb
from ledger.statements import run
from ledger.usage_reading import IS_USE

# Goods of a maker lie in the store, in pots, and at shops that sell for it.
_WORTH: Final = """
with held as (
  select l.material_id,
         sum(p.quantity) as quantity, sum(p.value) as value,
         coalesce(sum(p.quantity) filter (where a.kind = 'store'), 0) as stored,
         coalesce(sum(p.value) filter (where a.kind = 'store'), 0) as store,
         coalesce(sum(p.value) filter (where a.kind = 'batch'), 0) as pots,
         coalesce(sum(p.value) filter (where a.kind = 'consignment'), 0) as shops
    from ledger_posting p
    join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
     and a.kind in ('store', 'batch', 'consignment')
    join ledger_lot l on l.coop_id = p.coop_id and l.id = p.lot_id
   where p.coop_id = %(coop)s and p.maker_id = %(maker)s and p.happened_on <= %(day)s
   group by l.material_id
  having sum(p.quantity) <> 0 or sum(p.value) <> 0)
select m.id, m.name, m.measured_by = 'count', h.stored, h.store, h.pots, h.shops,
       sum(h.store) over (), sum(h.pots) over (), sum(h.shops) over (), count(*) over ()
  from held h join ledger_material m on m.coop_id = %(coop)s and m.id = h.material_id
 order by m.name, m.id limit %(limit)s
"""
# What moved one material up to a day, by place and kind of entry.
_MOVED: Final = """
select a.kind, e.kind, sum(p.quantity), sum(p.value)
  from ledger_lot l
  join ledger_posting p on p.coop_id = l.coop_id and p.lot_id = l.id
  join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
   and a.kind in ('store', 'batch', 'consignment')
  join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
 where l.coop_id = %(coop)s and l.material_id = %(material)s and p.maker_id = %(maker)s
   and p.happened_on <= %(day)s
 group by a.kind, e.kind having sum(p.quantity) <> 0 or sum(p.value) <> 0
 order by a.kind = 'store' desc, a.kind, min(e.happened_at)
"""
_USED: Final = f"""
with used as (
  select l.material_id, -sum(p.quantity) as quantity, -sum(p.value) as value
    from ledger_posting p
    join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
     and a.kind in ('store', 'consignment')
    join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
    join ledger_lot l on l.coop_id = p.coop_id and l.id = p.lot_id
   where p.coop_id = %(coop)s and p.maker_id = %(maker)s
     and p.happened_on between %(first)s and %(last)s and {IS_USE}
   group by l.material_id having sum(p.quantity) <> 0 or sum(p.value) <> 0)
select m.id, m.name, m.measured_by = 'count', u.quantity, u.value,
       sum(u.value) over (), count(*) over ()
  from used u join ledger_material m on m.coop_id = %(coop)s and m.id = u.material_id
 order by m.name, m.id limit %(limit)s
"""  # noqa: S608 - the words are our own
_SOLD: Final = """
with sold as (
  select l.material_id, sum(p.quantity) as quantity, sum(p.value) as value
    from ledger_posting p
    join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id and a.kind = 'sales'
    join ledger_lot l on l.coop_id = p.coop_id and l.id = p.lot_id
   where p.coop_id = %(coop)s and p.maker_id = %(maker)s
     and p.happened_on between %(first)s and %(last)s
   group by l.material_id having sum(p.quantity) <> 0 or sum(p.value) <> 0)
select m.id, m.name, m.measured_by = 'count', s.quantity, s.value,
       sum(s.value) over (), count(*) over ()
  from sold s join ledger_material m on m.coop_id = %(coop)s and m.id = s.material_id
 order by m.name, m.id limit %(limit)s
"""
# All that made or took value and is no stock: what was sold is told by itself.
_EXPENSED: Final = """
select a.kind, a.name, sum(p.value)
  from ledger_posting p
  join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
   and a.kind in ('sales', 'issue', 'loss', 'cost_difference', 'transfer')
 where p.coop_id = %(coop)s and p.maker_id = %(maker)s
   and p.happened_on between %(first)s and %(last)s
 group by a.kind, a.name having sum(p.value) <> 0
 order by a.kind = 'sales' desc, a.kind, a.name
"""


@dataclass(frozen=True, slots=True)
class Worth:
    """One material on a day: how much was in store, and its value there, in pots and at shops."""

    material: UUID
    name: str
    counted: bool
    stored: Decimal
    store: Decimal
    pots: Decimal
    shops: Decimal

    @property
    def value(self) -> Decimal:
        return self.store + self.pots + self.shops


@dataclass(frozen=True, slots=True)
class Valuation:
    """What stock was worth at the end of a day, by name; the sums are of all rows there are."""

    on: date
    rows: Sequence[Worth]
    store: Decimal
    pots: Decimal
    shops: Decimal
    count: int

    @property
    def value(self) -> Decimal:
        return self.store + self.pots + self.shops


@dataclass(frozen=True, slots=True)
class Moved:
    """What entries of one kind moved into a place, below zero out of it: quantity and value."""

    place: str
    kind: str
    quantity: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class Gone:
    """So much of a material left in a period, and the cost that went with it."""

    material: UUID
    name: str
    counted: bool
    quantity: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class Period:
    """What left in the days from `first` to `last`, by name; the sum is of all rows there are."""

    first: date
    last: date
    rows: Sequence[Gone]
    value: Decimal
    count: int


@dataclass(frozen=True, slots=True)
class Expensed:
    """What one account took in a period; below zero is what it gave back."""

    kind: str
    name: str
    value: Decimal


def valuation(actor: Actor, *, on: date, limit: int = 100) -> Valuation:
    """The stock of the maker at the end of a day, at cost. In one query. Raises Forbidden."""
    rows = _rows(actor, _WORTH, limit=limit, day=on)
    store, pots, shops, count = rows[0][7:] if rows else (Decimal(0), Decimal(0), Decimal(0), 0)
    return Valuation(on, [Worth(*row[:7]) for row in rows], store, pots, shops, count)


def moved_up_to(
    actor: Actor, *, material: UUID | str, on: date
) -> tuple[Material, Sequence[Moved]]:
    """What moved a material up to the end of a day, the store first. In two queries.

    Raises NotFound, Forbidden.
    """
    actor.must(Verb.SEE_COSTS)
    found = material_for(actor, material)
    return found, [Moved(*row) for row in _rows(actor, _MOVED, material=found.id, day=on)]


def used_between(actor: Actor, first: date, last: date, *, limit: int = 100) -> Period:
    """What was weighed into batches, sold (by a shop, too) or given, at cost, less what came back.

    What was made counts when it leaves. In one query. Raises Forbidden, and Invalid for a period
    that ends before it begins.
    """
    return _period(actor, _USED, first, last, limit)


def sold_between(actor: Actor, first: date, last: date, *, limit: int = 100) -> Period:
    """The cost of what was sold, less what buyers brought back.

    In one query. Raises Forbidden, and Invalid for a period that ends before it begins.
    """
    return _period(actor, _SOLD, first, last, limit)


def expensed_between(actor: Actor, first: date, last: date) -> list[Expensed]:
    """What sales, samples, gifts, losses and differences took, by account, sales first.

    What was gained or lost on moves between makers is one of them: a gain is below zero.

    In one query. Raises Forbidden, and Invalid for a period that ends before it begins.
    """
    _check(first, last)
    return [Expensed(*row) for row in _rows(actor, _EXPENSED, first=first, last=last)]


def _period(actor: Actor, statement: str, first: date, last: date, limit: int) -> Period:
    _check(first, last)
    rows = _rows(actor, statement, first=first, last=last, limit=limit)
    value, count = rows[0][5:] if rows else (Decimal(0), 0)
    return Period(first, last, [Gone(*row[:5]) for row in rows], value, count)


def _rows(actor: Actor, statement: str, **given: Any) -> list[Any]:
    actor.must(Verb.SEE_COSTS)
    own = {"coop": actor.coop_id, "maker": actor.maker}
    return list(run(statement, {**own, **given}).fetchall())


def _check(first: date, last: date) -> None:
    if last < first:
        raise Invalid("The period ends before it begins.", pointer="/to")
