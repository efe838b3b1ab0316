"""Reading lots: what each is, where it stands, how much is there and what that is worth.

The page is made to JSON by PostgreSQL, which is several times as fast as making a row into an
object, the object into a dictionary and the dictionary into text.
"""

from dataclasses import dataclass, field
from typing import Any, Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor
from ledger.errors import NotFound
from ledger.money import minor_units
from ledger.roles import Verb

# What a lot is worth: its own layer where the cost formula tells lots apart, otherwise its share
# of all that is left of the material. Half-even, as everything that is shown.
ONE: Final = """
select json_build_object(
  'id', l.id, 'code', l.code, 'material', l.material_id, 'material_name', m.name,
  'supplier', l.supplier_id, 'supplier_lot', l.supplier_lot, 'status', c.status,
  'arrived_on', l.arrived_on, 'expires_on', l.expires_on, 'retest_on', l.retest_on,
  'dates_note', l.dates_note, 'version', l.version,
  'density', case when l.density is not null then json_build_object(
    'value', trim_scale(l.density)::text, 'at', l.density_at::text,
    'entered', l.density_entered) end,
  'on_hand', case m.measured_by
    when 'count' then json_build_object('count', round(h.quantity)::text)
    else json_build_object('grams', h.quantity::text) end,
  'value', case when %(costs)s then ledger_shown(
    coalesce(p.value * h.quantity / nullif(p.quantity, 0), 0), %(digits)s)::text end,
  'unit_cost', case when %(costs)s and p.quantity > 0 then json_build_object(
    'amount', round(p.value * u.per / p.quantity, 6)::text, 'per', u.unit) end) as lot, l.id
  from ledger_custody c
  join ledger_lot l on l.coop_id = c.coop_id and l.id = c.lot_id
  join ledger_material m on m.coop_id = c.coop_id and m.id = c.material_id
  cross join lateral (
    select case m.measured_by when 'count' then 1 else 1000 end as per,
           case m.measured_by when 'count' then 'each' else 'kg' end as unit) u
  cross join lateral (
    select coalesce(sum(h.quantity), 0) as quantity from ledger_holding h
      where h.coop_id = c.coop_id and h.lot_id = c.lot_id and h.maker_id = c.maker_id
        and h.kind = 'store') h
  left join ledger_pool o
    on o.coop_id = c.coop_id and o.maker_id = c.maker_id and o.material_id = c.material_id
  cross join lateral (
    select sum(y.quantity) as quantity, sum(y.value) as value from ledger_layer y
      where y.coop_id = c.coop_id and y.maker_id = c.maker_id and y.material_id = c.material_id
        and y.any_left and (o.cost_formula <> 'lot' or y.lot_id = c.lot_id)) p
  where c.coop_id = %(coop)s and c.maker_id = %(maker)s
"""
PAGE: Final = """
select coalesce(json_agg(lot order by id desc) filter (where place <= %(limit)s), '[]')::text,
       (array_agg(id order by id desc))[%(limit)s], count(*) > %(limit)s
  from (select lot, id, row_number() over (order by id desc) as place from ({rows}) r) s
"""


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
            "material": "c.material_id = %(material)s",
            "status": "c.status = %(status)s",
            "expires_before": "least(l.expires_on, l.retest_on) < %(expires_before)s",
            "code": "l.code = %(code)s",
        }
        given = {name: getattr(self, name) for name in found if getattr(self, name) is not None}
        parts = [found[name] for name in given]
        if self.in_stock is not None:
            parts.append("h.quantity > 0" if self.in_stock else "h.quantity = 0")
        return "".join(f" and {part}" for part in parts), given


@dataclass(frozen=True, slots=True)
class LotPage:
    """A page of lots as JSON text, and where the next one begins."""

    results: str
    next_after: UUID | None = field(default=None)


def list_lots(actor: Actor, wanted: LotsWanted, *, after: str | None, limit: int) -> LotPage:
    """One page of the maker's lots, the newest first."""
    conditions, given = wanted.conditions()
    after_it = " and c.lot_id < %(after)s" if after else ""
    rows = f"{ONE}{conditions}{after_it} order by c.lot_id desc limit %(limit)s + 1"
    with connection.cursor() as cursor:
        cursor.execute(
            PAGE.format(rows=rows), {**_own(actor), **given, "after": after, "limit": limit}
        )
        results, last, more = cursor.fetchone()
    return LotPage(results, last if more else None)


def show_lot(actor: Actor, lot: UUID | str) -> dict[str, Any]:
    """One lot of the maker. Raises NotFound."""
    try:
        id = UUID(str(lot))
    except ValueError as error:
        raise NotFound from error
    with connection.cursor() as cursor:
        cursor.execute(f"{ONE} and c.lot_id = %(lot)s", {**_own(actor), "lot": id})
        row = cursor.fetchone()
    if row is None:
        raise NotFound
    found: dict[str, Any] = row[0]
    return found


def _own(actor: Actor) -> dict[str, Any]:
    actor.must(Verb.READ)
    return {
        "coop": actor.coop_id,
        "maker": actor.maker,
        "costs": actor.may(Verb.SEE_COSTS),
        "digits": minor_units(actor.currency),
    }
