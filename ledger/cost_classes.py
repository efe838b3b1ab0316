"""How each class of material is costed now, what another formula would change, and what did."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

from ledger.access import Actor, materials_visible_to
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.models import CostFormula, Entry
from ledger.offer_prices import unit_price
from ledger.roles import Verb

# A class that somebody chose for stands here, too, when no material is of it yet. How a material is
# costed is fixed by its pool; before there is one, by the choice, the material's own, the average.
_CLASSES: Final = """
with costed as (
  select m.cost_class,
         coalesce(p.cost_formula, c.cost_formula, m.cost_formula, 'average') as formula,
         coalesce(s.value, 0) as value
    from ledger_material m
    left join ledger_costpolicy c on c.coop_id = m.coop_id and c.maker_id = %(maker)s
      and c.cost_class = m.cost_class
    left join ledger_pool p on p.coop_id = m.coop_id and p.maker_id = %(maker)s
      and p.material_id = m.id
    left join lateral (
      select sum(y.value) as value from ledger_layer y
        where y.coop_id = m.coop_id and y.maker_id = %(maker)s and y.material_id = m.id
          and y.any_left) s on true
   where m.coop_id = %(coop)s and m.stocked
     and (m.maker_id is null or m.maker_id = %(maker)s)
), classes as (
  select cost_class, count(*) as materials, array_agg(distinct formula) as formulas,
         sum(value) as value
    from costed group by 1
)
select coalesce(k.cost_class, c.cost_class), coalesce(k.materials, 0),
       coalesce(k.formulas, array[c.cost_formula::text]), coalesce(k.value, 0), c.cost_formula
  from classes k
  full join (select * from ledger_costpolicy
              where coop_id = %(coop)s and maker_id = %(maker)s) c using (cost_class)
 order by lower(coalesce(k.cost_class, c.cost_class)), 1
"""
# What is in store of each material of a class, by name; and of all of it how much and how many.
_WORTH: Final = """
select m.id, m.name, sum(y.value), sum(sum(y.value)) over (), count(*) over ()
  from ledger_material m
  join ledger_layer y on y.coop_id = m.coop_id and y.maker_id = %(maker)s and y.material_id = m.id
   and y.any_left
 where m.coop_id = %(coop)s and m.stocked and m.cost_class = %(cost_class)s
 group by m.id, m.name having sum(y.value) <> 0
 order by lower(m.name), m.id limit %(limit)s
"""
# What is in store of each material of a class whose formula is another one, and its oldest layer.
_CHANGES: Final = """
select m.id, m.name, m.measured_by = 'count', p.cost_formula, s.quantity, s.value,
       o.quantity, o.value
  from ledger_pool p
  join ledger_material m on m.coop_id = p.coop_id and m.id = p.material_id
  left join lateral (
    select sum(y.quantity) as quantity, sum(y.value) as value from ledger_layer y
      where y.coop_id = p.coop_id and y.maker_id = p.maker_id and y.material_id = p.material_id
        and y.any_left) s on true
  left join lateral (
    select y.quantity, y.value from ledger_layer y
      where y.coop_id = p.coop_id and y.maker_id = p.maker_id and y.material_id = p.material_id
        and y.any_left order by y.ordinal limit 1) o on true
 where p.coop_id = %(coop)s and p.maker_id = %(maker)s and m.cost_class = %(cost_class)s
   and p.cost_formula <> %(formula)s
 order by lower(m.name), m.id
"""


@dataclass(frozen=True, slots=True)
class CostClass:
    """A class, how many materials are of it, how they are costed, and what is in store is worth.

    `chosen` is the maker's choice; without one each material has its own formula, or the average.
    """

    name: str
    materials: int
    formulas: tuple[str, ...]
    value: Decimal
    chosen: str | None


@dataclass(frozen=True, slots=True)
class Leaving:
    """What leaves next costs: the worth of what it is taken from, by how much there is of it."""

    value: Decimal
    quantity: Decimal
    each: Decimal


@dataclass(frozen=True, slots=True)
class Changing:
    """A material that another formula would change: what is in store keeps its value.

    `now` and `then` are what leaves next costs, by the kilogram or the piece; None where that is
    each lot's own cost, or where nothing is in store.
    """

    material: UUID
    name: str
    counted: bool
    before: str
    quantity: Decimal
    value: Decimal
    now: Leaving | None
    then: Leaving | None


@dataclass(frozen=True, slots=True)
class Changed:
    """A change that was made: the entry, and the material that it gave other layers."""

    entry: Entry
    material: UUID
    name: str
    before: str
    after: str


def cost_classes(actor: Actor) -> list[CostClass]:
    """How the maker costs each class of material, by name, in one query. Raises Forbidden."""
    actor.must(Verb.SEE_COSTS)
    rows = _rows(_CLASSES, {"coop": actor.coop_id, "maker": actor.maker})
    return [
        CostClass(name, count, tuple(formulas), value, chosen)
        for name, count, formulas, value, chosen in rows
    ]


def worth_of_class(
    actor: Actor, *, cost_class: str, limit: int
) -> tuple[list[tuple[UUID, str, Decimal]], Decimal, int]:
    """What is in store of a class is worth by its materials, in all, and how many those are.

    One query. Raises Forbidden.
    """
    actor.must(Verb.SEE_COSTS)
    given = {"coop": actor.coop_id, "maker": actor.maker, "cost_class": cost_class}
    rows = _rows(_WORTH, {**given, "limit": limit})
    whole, count = rows[0][3:] if rows else (Decimal(0), 0)
    return [(id, name, value) for id, name, value, *_ in rows], whole, count


def changes_of(actor: Actor, *, cost_class: str, formula: str) -> list[Changing]:
    """What choosing a formula for a class would change now, in one query; nothing is written.

    Layers take the shape of the new formula with the value of all that is in store, except that
    the layers of lots serve first in, first out as they are. Raises Forbidden, Invalid.
    """
    actor.must(Verb.SEE_COSTS)
    if formula not in CostFormula.values:
        raise Invalid(
            Sentence("Choose one of {formulas}.", formulas=", ".join(CostFormula.values)),
            pointer="/formula",
        )
    given = {"coop": actor.coop_id, "maker": actor.maker}
    rows = _rows(_CHANGES, {**given, "cost_class": cost_class, "formula": formula})
    return [_changing(row, formula) for row in rows]


def changes_made(actor: Actor, *, limit: int) -> list[Changed]:
    """The changes of cost formulas that were made, the latest first, in two queries.

    Raises Forbidden.
    """
    actor.must(Verb.SEE_COSTS)
    rows: QuerySet[Entry] = Entry.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, kind=Entry.Kind.COST_FORMULA
    )
    found = list(rows.order_by("-happened_at", "-id")[:limit])
    names = _names(actor, [entry.details["material"] for entry in found])
    return [
        Changed(
            entry,
            UUID(entry.details["material"]),
            names[UUID(entry.details["material"])],
            entry.details["before"],
            entry.details["after"],
        )
        for entry in found
    ]


def _changing(row: tuple[Any, ...], formula: str) -> Changing:
    material, name, counted, before, quantity, value, oldest, oldest_value = row

    def leaving(value: Decimal, of: Decimal | None) -> Leaving | None:
        return Leaving(value, of, unit_price(value, of, counted=counted)) if of else None

    all_of_it, first = leaving(value, quantity), leaving(oldest_value, oldest)
    costs = {CostFormula.AVERAGE: all_of_it, CostFormula.FIFO: first, CostFormula.LOT: None}
    kept = before == CostFormula.LOT and formula == CostFormula.FIFO
    return Changing(
        *(material, name, counted, before, quantity or Decimal(0), value or Decimal(0)),
        now=costs[CostFormula(before)],
        then=first if kept else all_of_it,
    )


def _names(actor: Actor, materials: Iterable[str]) -> dict[UUID, str]:
    rows = materials_visible_to(actor).filter(id__in=list(materials))
    return dict(rows.values_list("id", "name"))


def _rows(sql: str, given: dict[str, Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, given)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    return rows
