"""Reading lots: what each is, where it stands, how much is there and what that is worth.

The page is made to JSON by PostgreSQL, which is several times as fast as making a row into an
object, the object into a dictionary and the dictionary into text.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

import orjson

from ledger.access import Actor
from ledger.errors import NotFound
from ledger.money import minor_units
from ledger.roles import Verb
from ledger.spelling import APART, run_together
from ledger.statements import run

# The page is found among the maker's own lots; only then is anything looked up, for it alone.
PAGE: Final = """
with page as materialized (
  select c.lot_id from ledger_custody c
   where c.coop_id = %(coop)s and c.maker_id = %(maker)s{conditions}
   order by c.lot_id desc limit %(limit)s + 1),
shown as (select array(select lot_id from page order by lot_id desc limit %(limit)s) as ids)
select ledger_show_lots(ids, %(costs)s, %(digits)s), ids[%(limit)s],
       (select count(*) from page) > %(limit)s
  from shown
"""
ONE: Final = "select ledger_show_lots(array[%(lot)s], %(costs)s, %(digits)s)"
# Words that stand somewhere in what a lot, its material or its supplier is called, by whomever;
# what is written apart there may be written together.
WORDS: Final = """ and exists (
  select from ledger_lot l join ledger_material m on m.coop_id = l.coop_id and m.id = l.material_id
    left join ledger_supplier s on s.coop_id = l.coop_id and s.id = l.supplier_id
   where l.coop_id = c.coop_id and l.id = c.lot_id and not exists (
     select from unnest(%(words)s::text[]) word
      where strpos(translate(lower(concat_ws('|', l.code, l.supplier_lot, m.name, m.inci_name,
                                             m.cas_number, s.name)), %(apart)s, ''), word) = 0))"""
# Conditions on the lot itself, and on what is in store of it.
OF_LOT: Final = """ and exists (
  select from ledger_lot l where l.coop_id = c.coop_id and l.id = c.lot_id and {})"""
IN_STORE: Final = """ and {} (
  select from ledger_holding h
   where h.coop_id = c.coop_id and h.maker_id = c.maker_id and h.material_id = c.material_id
     and h.lot_id = c.lot_id and h.kind = 'store' and h.any_left)"""

# The latest, and where it is asked for the first that stands. The other end of each is the first
# account that it has of the lot beside the store.
MOVEMENTS: Final = """
with moved as (
select e.id, e.kind, e.happened_at, e.reason, p.quantity,
       sum(p.quantity) over (order by e.happened_at, e.id) as balance,
       e.reverses_id is not null or exists (
         select from ledger_entry r where r.coop_id = e.coop_id and r.reverses_id = e.id) as undone,
       coalesce(e.details->>'customer', '') as customer
  from (select p.entry_id, sum(p.quantity) as quantity
          from ledger_posting p
          join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
           and a.kind = 'store'
         where p.coop_id = %(coop)s and p.maker_id = %(maker)s and p.lot_id = %(lot)s
         group by p.entry_id) p
  join ledger_entry e on e.coop_id = %(coop)s and e.id = p.entry_id
),
latest as (select * from moved order by happened_at desc, id desc limit %(limit)s),
first as (select * from moved where %(first)s and not undone order by happened_at, id limit 1)
select m.*, o.id, coalesce(o.kind, ''), coalesce(o.name, '')
  from (select * from latest union select * from first) m
  left join lateral (
    select a.id, a.kind, case a.kind when 'supplier' then s.name else a.name end as name
      from ledger_posting q join ledger_account a on a.coop_id = q.coop_id and a.id = q.account_id
      join ledger_lot l on l.coop_id = q.coop_id and l.id = q.lot_id
      left join ledger_supplier s on s.coop_id = l.coop_id and s.id = l.supplier_id
     where q.coop_id = %(coop)s and q.maker_id = %(maker)s and q.entry_id = m.id
       and q.lot_id = %(lot)s and a.kind <> 'store'
     order by q.line limit 1) o on true
 order by m.happened_at desc, m.id desc
"""


# That something of it is in store, where it does not belong.
OUT_OF_PLACE: Final = (
    """ and {} (exists (
  select from ledger_place w where w.coop_id = c.coop_id and w.id = c.place_id
     and ledger_out_of_place(c.status, w.keeps, w.retired_at))"""
    + IN_STORE.format("exists")
    + ")"
)


@dataclass(frozen=True, slots=True)
class LotsWanted:
    """Which lots to list; empty means all. What is used up lies in no `place`."""

    material: UUID | None = None
    status: str | None = None
    place: UUID | None = None
    expires_before: Any = None
    in_stock: bool | None = None
    out_of_place: bool | None = None
    code: str | None = None
    # In small letters, each of which must stand somewhere in the lot's or the material's names.
    words: Sequence[str] | None = None

    def conditions(self) -> tuple[str, dict[str, Any]]:
        """The conditions in SQL, and what they compare with."""
        found = {
            "material": " and c.material_id = %(material)s",
            "status": " and c.status = %(status)s",
            "place": " and c.place_id = %(place)s" + IN_STORE.format("exists"),
            "expires_before": OF_LOT.format(
                "ledger_last_day(l.expires_on, l.retest_on, c.use_by) < %(expires_before)s"
            ),
            "code": OF_LOT.format("l.code = %(code)s"),
            "words": WORDS,
        }
        given = {name: getattr(self, name) for name in found if getattr(self, name) is not None}
        if self.words is not None:
            given |= {"words": [run_together(word) for word in self.words], "apart": APART}
        conditions = "".join(found[name] for name in found if name in given)
        if self.in_stock is not None:
            conditions += IN_STORE.format("exists" if self.in_stock else "not exists")
        if self.out_of_place is not None:
            conditions += OUT_OF_PLACE.format("" if self.out_of_place else "not")
        return conditions, given


@dataclass(frozen=True, slots=True)
class LotPage:
    """A page of lots as JSON text, and where the next one begins."""

    results: str
    next_after: UUID | None = field(default=None)


def list_lots(actor: Actor, wanted: LotsWanted, *, after: str | None, limit: int) -> LotPage:
    """One page of the maker's lots, the newest first."""
    conditions, given = wanted.conditions()
    if after:
        conditions, given = f"{conditions} and c.lot_id < %(after)s", {**given, "after": after}
    statement = PAGE.format(conditions=conditions)
    results, last, more = run(statement, {**_own(actor), **given, "limit": limit}).fetchone()
    return LotPage(results, last if more else None)


def show_lot(actor: Actor, lot: UUID | str) -> dict[str, Any]:
    """One lot of the maker. Raises NotFound."""
    try:
        id = UUID(str(lot))
    except ValueError as error:
        raise NotFound from error
    (shown,) = run(ONE, {**_own(actor), "lot": id}).fetchone()
    if shown == "[]":
        raise NotFound
    found: dict[str, Any] = orjson.loads(shown)[0]
    return found


@dataclass(frozen=True, slots=True)
class Movement:
    """What one entry did to a lot in the maker's store, and the balance after it.

    `account` is where it came from or went to: of the kind `held`, and `called` so. A `customer`
    is whoever bought it.
    """

    entry: UUID
    kind: str
    happened_at: datetime
    reason: str
    quantity: Decimal
    balance: Decimal
    undone: bool
    customer: str
    account: UUID | None
    held: str
    called: str


def movements_of(
    actor: Actor, lot: UUID | str, *, limit: int, first: bool = False
) -> list[Movement]:
    """The life of a lot in the store, the latest first. Raises Forbidden.

    With `first` the earliest that was not undone comes last, however many lie between.
    """
    actor.must(Verb.READ)
    given = {"coop": actor.coop_id, "maker": actor.maker, "lot": lot, "limit": limit}
    given["first"] = first
    return [Movement(*row) for row in run(MOVEMENTS, given).fetchall()]


def _own(actor: Actor) -> dict[str, Any]:
    actor.must(Verb.READ)
    return {
        "coop": actor.coop_id,
        "maker": actor.maker,
        "costs": actor.may(Verb.SEE_COSTS),
        "digits": minor_units(actor.currency),
    }
