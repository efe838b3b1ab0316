"""Reading lots: what each is, where it stands, how much is there and what that is worth.

The page is made to JSON by PostgreSQL, which is several times as fast as making a row into an
object, the object into a dictionary and the dictionary into text.
"""

from dataclasses import dataclass, field
from typing import Any, Final
from uuid import UUID

import orjson

from ledger.access import Actor
from ledger.errors import NotFound
from ledger.money import minor_units
from ledger.roles import Verb
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
# Conditions on the lot itself, and on what is in store of it.
OF_LOT: Final = """ and exists (
  select from ledger_lot l where l.coop_id = c.coop_id and l.id = c.lot_id and {})"""
IN_STORE: Final = """ and {} (
  select from ledger_holding h
   where h.coop_id = c.coop_id and h.maker_id = c.maker_id and h.material_id = c.material_id
     and h.lot_id = c.lot_id and h.kind = 'store' and h.any_left)"""


@dataclass(frozen=True, slots=True)
class LotsWanted:
    """Which lots to list; empty means all."""

    material: UUID | None = None
    status: str | None = None
    expires_before: Any = None
    in_stock: bool | None = None
    code: str | None = None

    def conditions(self) -> tuple[str, dict[str, Any]]:
        """The conditions in SQL, and what they compare with."""
        found = {
            "material": " and c.material_id = %(material)s",
            "status": " and c.status = %(status)s",
            "expires_before": OF_LOT.format(
                "least(l.expires_on, l.retest_on) < %(expires_before)s"
            ),
            "code": OF_LOT.format("l.code = %(code)s"),
        }
        given = {name: getattr(self, name) for name in found if getattr(self, name) is not None}
        conditions = "".join(found[name] for name in given)
        if self.in_stock is not None:
            conditions += IN_STORE.format("exists" if self.in_stock else "not exists")
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


def _own(actor: Actor) -> dict[str, Any]:
    actor.must(Verb.READ)
    return {
        "coop": actor.coop_id,
        "maker": actor.maker,
        "costs": actor.may(Verb.SEE_COSTS),
        "digits": minor_units(actor.currency),
    }
