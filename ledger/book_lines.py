"""What the sums of the books are made of: by what happened, and entry by entry.

Grams or pieces, and money of the co-op; each in one query, whatever there is. The conditions are
those of `book_reading`, so that the lines add up to what it tells.
"""

from collections.abc import Mapping, Sequence
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

ZERO: Final = Decimal(0)
# The places that are looked at, the sign of what counts there, and which entries count.
_OF: Final[Mapping[str, tuple[str, str, str]]] = {
    "used": ("'store', 'consignment'", "-", f"and {IS_USE}"),
    "sold": ("'sales'", "", ""),
}
_GONE: Final = """
  from ledger_posting p
  join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id and a.kind in ({places})
  join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
  join ledger_lot l on l.coop_id = p.coop_id and l.id = p.lot_id
 where p.coop_id = %(coop)s and p.maker_id = %(maker)s
   and p.happened_on between %(first)s and %(last)s {only}
"""
_BY_KIND: Final = f"""
select e.kind, {{sign}}sum(p.value), count(distinct e.id) {_GONE}
 group by e.kind having sum(p.value) <> 0 order by e.kind
"""
_BY_ENTRY: Final = f"""
select e.id, e.kind, p.happened_on, e.reason, l.code,
       {{sign}}sum(p.quantity), {{sign}}sum(p.value),
       sum({{sign}}sum(p.quantity)) over (), sum({{sign}}sum(p.value)) over (),
       count(*) over () {_GONE}
   and l.material_id = %(material)s
 group by e.id, e.kind, e.reason, p.happened_on, l.id, l.code
having sum(p.quantity) <> 0 or sum(p.value) <> 0
 order by p.happened_on desc, e.id desc, l.id limit %(limit)s
"""
_EXPENSED: Final = """
select e.id, e.kind, p.happened_on, e.reason,
       case when count(distinct l.id) = 1 then min(l.code) else '' end, 0, sum(p.value),
       0, sum(sum(p.value)) over (), count(*) over ()
  from ledger_posting p
  join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
   and a.kind = %(kind)s and a.name = %(name)s
   and a.kind in ('sales', 'issue', 'loss', 'cost_difference', 'transfer')
  join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
  left join ledger_lot l on l.coop_id = p.coop_id and l.id = p.lot_id
 where p.coop_id = %(coop)s and p.maker_id = %(maker)s
   and p.happened_on between %(first)s and %(last)s
 group by e.id, e.kind, e.reason, p.happened_on having sum(p.value) <> 0
 order by p.happened_on desc, e.id desc limit %(limit)s
"""


@dataclass(frozen=True, slots=True)
class OfKind:
    """What entries of one kind took, at cost, and how many there were."""

    kind: str
    value: Decimal
    entries: int


@dataclass(frozen=True, slots=True)
class OfEntry:
    """What one entry took of a lot, or of an account: quantity, and the cost that went with it."""

    entry: UUID
    kind: str
    on: date
    reason: str
    lot: str
    quantity: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class Lines:
    """Entries, the latest first; quantity, value and count are of all there are."""

    rows: Sequence[OfEntry]
    quantity: Decimal
    value: Decimal
    count: int


def gone_by_kind(actor: Actor, of: str, first: date, last: date) -> list[OfKind]:
    """What was "used" or "sold" in a period, by what happened to it.

    Raises Forbidden, and Invalid for a period that ends before it begins.
    """
    statement = _statement(_BY_KIND, of, first, last)
    return [OfKind(*row) for row in _rows(actor, statement, first=first, last=last)]


def gone_by_entry(
    actor: Actor, of: str, *, material: UUID | str, first: date, last: date, limit: int
) -> tuple[Material, Lines]:
    """What was "used" or "sold" of a material in a period, entry by entry and lot by lot.

    Raises NotFound, Forbidden, and Invalid for a period that ends before it begins.
    """
    actor.must(Verb.SEE_COSTS)
    found = material_for(actor, material)
    statement = _statement(_BY_ENTRY, of, first, last)
    rows = _rows(actor, statement, material=found.id, first=first, last=last, limit=limit)
    return found, _lines(rows)


def expensed_by_entry(
    actor: Actor, *, kind: str, name: str, first: date, last: date, limit: int
) -> Lines:
    """What one account of `book_reading.expensed_between` took in a period, entry by entry.

    Raises Forbidden, and Invalid for a period that ends before it begins.
    """
    _check(first, last)
    given = {"kind": kind, "name": name, "first": first, "last": last, "limit": limit}
    return _lines(_rows(actor, _EXPENSED, **given))


def _statement(statement: str, of: str, first: date, last: date) -> str:
    _check(first, last)
    places, sign, only = _OF[of]
    return statement.format(places=places, sign=sign, only=only)


def _check(first: date, last: date) -> None:
    if last < first:
        raise Invalid("The period ends before it begins.", pointer="/to")


def _lines(rows: Sequence[Any]) -> Lines:
    quantity, value, count = rows[0][7:] if rows else (ZERO, ZERO, 0)
    return Lines([OfEntry(*row[:7]) for row in rows], quantity, value, count)


def _rows(actor: Actor, statement: str, **given: Any) -> list[Any]:
    actor.must(Verb.SEE_COSTS)
    own = {"coop": actor.coop_id, "maker": actor.maker}
    return list(run(statement, {**own, **given}).fetchall())
