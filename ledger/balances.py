"""Reads: what a maker has, may use, has promised, and where it stands against its watches."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor, day_of
from ledger.roles import Verb

# The page of materials is found first; only then is anything summed, for that page alone.
_STOCK: Final = """
    with page as materialized (
      select m.id, m.name, m.measured_by = 'count' as counted from ledger_material m
        where m.coop_id = %(coop)s and m.stocked
          and (%(only)s::uuid[] is null or m.id = any (%(only)s))
          and (%(only)s::uuid[] is not null
               or exists (select from ledger_pool p where p.coop_id = %(coop)s
                            and p.maker_id = %(maker)s and p.material_id = m.id)
               or exists (select from ledger_shortfall s where s.coop_id = %(coop)s
                            and s.maker_id = %(maker)s and s.material_id = m.id))
          and (%(after_name)s::text is null
               or (m.name, m.id) > (%(after_name)s, %(after_id)s::uuid))
        order by m.name, m.id limit %(limit)s)
    select m.id, m.name, m.counted, s.on_hand, s.usable, s.reserved,
           greatest(s.usable - s.reserved, 0), s.on_order, s."position", s.value,
           w.reorder_point, coalesce(s."position" <= w.reorder_point, false)
      from page m
      join ledger_stock(array(select id from page), %(day)s) s on s.material_id = m.id
      left join ledger_watch w
        on w.coop_id = %(coop)s and w.maker_id = %(maker)s and w.material_id = m.id
      order by m.name, m.id
"""
_POSITION: Final = """
  select "position", greatest(usable - reserved, 0) from ledger_stock(array[%s]::uuid[], %s)
"""


@dataclass(frozen=True, slots=True)
class Stock:
    """A maker's stock of one material, in grams or, when `counted`, in pieces.

    `usable` is released, in date today and not on hold; `reserved` is promised to planned batches;
    `available` is the one less the other, and never below zero; `position` is usable + on order -
    all that planned batches need, and may be below zero. `low` means position <= reorder point.
    `value` is in the co-op's currency, None for a role that may not see costs.
    """

    material_id: UUID
    name: str
    counted: bool
    on_hand: Decimal
    usable: Decimal
    reserved: Decimal
    available: Decimal
    on_order: Decimal
    position: Decimal
    value: Decimal | None
    reorder_point: Decimal | None
    low: bool


def stock(
    actor: Actor,
    *,
    now: datetime,
    materials: Sequence[UUID] | None = None,
    after: tuple[str, UUID] | None = None,
    limit: int = 100,
) -> list[Stock]:
    """The maker's stock, by name and id of the material, in one query.

    Without `materials`: all that the maker has had, watches or lacks; with them: these, as far as
    they are there. `after` is the name and id of the last one seen. What is not stocked, such as
    water, is never listed. Raises Forbidden.
    """
    actor.must(Verb.READ)
    name, id = after if after else (None, None)
    with connection.cursor() as cursor:
        cursor.execute(
            _STOCK,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "only": None if materials is None else list(materials),
                "after_name": name,
                "after_id": id,
                "limit": limit,
                "day": day_of(actor, now),
            },
        )
        rows = [Stock(*row) for row in cursor.fetchall()]
    return rows if actor.may(Verb.SEE_COSTS) else [_without_value(row) for row in rows]


@dataclass(frozen=True, slots=True)
class Position:
    """Usable + on order - all that planned batches need, and usable less reserved."""

    position: Decimal
    available: Decimal


def position_of(material_id: UUID, *, on: date) -> Position:
    """Where the maker stands with a material on a day, in grams or pieces, within the walls."""
    with connection.cursor() as cursor:
        cursor.execute(_POSITION, [material_id, on])
        return Position(*cursor.fetchone())


def _without_value(row: Stock) -> Stock:
    return replace(row, value=None)
