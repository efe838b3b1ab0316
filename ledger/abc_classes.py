"""How much goes through each material in a year, which class that makes it, and what is due."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor, day_of
from ledger.counting_rules import due_on, rank
from ledger.roles import Verb
from ledger.usage_reading import FROM_STORE_OR_SHOP, IS_USE

YEAR: Final = timedelta(days=365)
_USE: Final = f"""
select c.material_id, -sum(p.quantity), -sum(p.value)
  from ledger_posting p
  join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
  join ledger_custody c on c.coop_id = p.coop_id and c.maker_id = p.maker_id
    and c.lot_id = p.lot_id
 where p.coop_id = %(coop)s and p.maker_id = %(maker)s and {FROM_STORE_OR_SHOP}
   and p.happened_on > %(since)s and p.happened_on <= %(day)s and {IS_USE}
 group by 1
"""  # noqa: S608 - the words are our own
_HELD: Final = """
select m.id, m.name, m.measured_by = 'count',
       (select max((l.counted_at at time zone %(zone)s)::date)
          from ledger_countline l join ledger_countsheet s
            on s.coop_id = l.coop_id and s.id = l.sheet_id and s.state = 'closed'
          where l.coop_id = m.coop_id and l.maker_id = %(maker)s and l.material_id = m.id
            and l.counted_at is not null),
       h.lots
  from (select material_id, count(distinct lot_id) as lots from ledger_holding
          where coop_id = %(coop)s and maker_id = %(maker)s and kind = 'store' and any_left
          group by 1) h
  join ledger_material m on m.coop_id = %(coop)s and m.id = h.material_id
"""


@dataclass(frozen=True, slots=True)
class Use:
    """What was used, sold or given in a year: grams or pieces, and what they had cost."""

    quantity: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class Due:
    """A material in store, its class, when it was last counted, and when it is to be counted."""

    material_id: UUID
    name: str
    counted: bool
    abc_class: str
    lots: int
    annual_use: Decimal
    annual_value: Decimal
    last_counted: date | None
    due_on: date
    is_due: bool


def use_of(actor: Actor, *, now: datetime) -> Mapping[UUID, Use]:
    """Use of each material in the 365 days up to now, in one query."""
    day = day_of(actor, now)
    with connection.cursor() as cursor:
        cursor.execute(
            _USE,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "since": day - YEAR,
                "day": day,
            },
        )
        return {material: Use(quantity, value) for material, quantity, value in cursor.fetchall()}


def classes_of(uses: Mapping[UUID, Use]) -> dict[UUID, str]:
    """Each used material's class; what was not used is C and is not named."""
    return rank({material: use.value for material, use in sorted(uses.items())})


def due_counts(actor: Actor, *, now: datetime, classes: Sequence[str] = ()) -> list[Due]:
    """Every material in store with the day of its next count, the most urgent first.

    A material that was never counted is due today. Raises Forbidden.
    """
    actor.must(Verb.READ)
    uses, today = use_of(actor, now=now), day_of(actor, now)
    ranked, none = classes_of(uses), Use(Decimal(0), Decimal(0))
    with connection.cursor() as cursor:
        cursor.execute(
            _HELD, {"coop": actor.coop_id, "maker": actor.maker, "zone": actor.time_zone}
        )
        rows = cursor.fetchall()
    found = []
    for material, name, counted, last, lots in rows:
        abc_class = ranked.get(material, "C")
        if classes and abc_class not in classes:
            continue
        use, due = uses.get(material, none), due_on(last, abc_class) or today
        found.append(
            Due(
                material_id=material,
                name=name,
                counted=counted,
                abc_class=abc_class,
                lots=lots,
                annual_use=use.quantity,
                annual_value=use.value,
                last_counted=last,
                due_on=due,
                is_due=due <= today,
            )
        )
    return sorted(found, key=lambda one: (one.due_on, one.abc_class, one.name, one.material_id))
