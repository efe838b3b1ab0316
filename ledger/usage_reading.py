"""What a material's entries tell of its use, day by day or week by week."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor, day_of, material_for
from ledger.models import Material
from ledger.roles import Verb

PERIODS: Final[Mapping[str, int]] = {"day": 1, "week": 7}
# What was used, sold or given, less what came back; not what was counted, sent back to its supplier
# or to a shop, moved to another maker or undone. What was made counts when it leaves, not when it
# comes. Of a posting `p` to the store or to a shop, and its entry `e`: what lies at a shop is the
# maker's own, and used once the shop has sold it.
IS_USE: Final = """
  (e.kind in ('draw', 'weigh_back', 'cancel', 'sale', 'customer_return', 'issue')
   or e.kind in ('make', 'fill') and p.quantity < 0)
  and not exists (select from ledger_entry r where r.coop_id = e.coop_id and r.reverses_id = e.id)
"""
FROM_STORE_OR_SHOP: Final = """
  p.account_id in (select a.id from ledger_account a
                    where a.coop_id = %(coop)s and a.maker_id = %(maker)s
                      and a.kind in ('store', 'consignment'))
"""
_USED: Final = f"""
select (p.happened_on - %(first)s::date) / %(days)s as period, -sum(p.quantity)
  from ledger_posting p
  join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
  join ledger_custody c on c.coop_id = p.coop_id and c.maker_id = p.maker_id
    and c.lot_id = p.lot_id and c.material_id = %(material)s
 where p.coop_id = %(coop)s and p.maker_id = %(maker)s and {FROM_STORE_OR_SHOP}
   and p.happened_on between %(first)s and %(last)s and {IS_USE}
 group by 1
"""  # noqa: S608 - the words are our own

# The mean use in a day, since the first day with any: what `read_usage` and `describe` make of the
# same days for one material.
_MEAN: Final = f"""
with used as (
  select c.material_id, p.happened_on, greatest(-sum(p.quantity), 0) as quantity
    from ledger_posting p
    join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
    join ledger_custody c on c.coop_id = p.coop_id and c.maker_id = p.maker_id
      and c.lot_id = p.lot_id and c.material_id = any (%(materials)s::uuid[])
   where p.coop_id = %(coop)s and p.maker_id = %(maker)s and {FROM_STORE_OR_SHOP}
     and p.happened_on between %(first)s and %(last)s and {IS_USE}
   group by 1, 2
)
select material_id, sum(quantity) / (%(last)s::date - min(happened_on) + 1)
  from used where quantity > 0 group by 1
"""  # noqa: S608 - the words are our own
DAYS_OF_USE: Final = 90


# The same of many materials: how much since which day, in the last half year.
_USED_SINCE: Final = f"""
select c.material_id, -sum(p.quantity), min(p.happened_on)
  from ledger_posting p
  join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
  join ledger_custody c on c.coop_id = p.coop_id and c.maker_id = p.maker_id
    and c.lot_id = p.lot_id and c.material_id = any (%(materials)s::uuid[])
 where p.coop_id = %(coop)s and p.maker_id = %(maker)s and {FROM_STORE_OR_SHOP}
   and p.happened_on between %(first)s and %(last)s and {IS_USE}
 group by 1
"""  # noqa: S608 - the words are our own
HALF_A_YEAR: Final = 182
# Of less one cannot tell what is used in a month.
LEAST_DAYS: Final = 28
DAYS_A_MONTH: Final = Decimal("365.25") / 12


@dataclass(frozen=True, slots=True)
class UsageRead:
    """Use in each period, oldest first, in grams or pieces, and the days that it covers.

    It begins with the first period in which something was used: before, the material may not have
    been there. A period in which more came back than went out counts as none.
    """

    material: Material
    period: str
    first: date
    last: date
    series: list[Decimal]


def read_usage(
    actor: Actor, *, material: UUID | str, period: str, periods: int, now: datetime
) -> UsageRead:
    """The last whole periods up to yesterday, in one query, whatever the length of history.

    Today is not over, and would always look like less. Raises Forbidden and NotFound.
    """
    actor.must(Verb.READ)
    found = material_for(actor, material)
    days = PERIODS[period]
    last = day_of(actor, now) - timedelta(days=1)
    first = last - timedelta(days=days * periods - 1)
    with connection.cursor() as cursor:
        cursor.execute(
            _USED,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "material": found.id,
                "first": first,
                "last": last,
                "days": days,
            },
        )
        used = dict(cursor.fetchall())
    series = [max(Decimal(0), used.get(number, Decimal(0))) for number in range(periods)]
    begin = next((number for number, one in enumerate(series) if one), 0)
    return UsageRead(found, period, first + timedelta(days=days * begin), last, series[begin:])


def by_first_day(read: UsageRead) -> list[tuple[date, Decimal]]:
    """The use of each period with the day on which it begins, the oldest first."""
    days = timedelta(days=PERIODS[read.period])
    return [(read.first + days * number, used) for number, used in enumerate(read.series)]


def monthly_use(actor: Actor, *, materials: Collection[UUID], now: datetime) -> dict[UUID, Decimal]:
    """The mean use of a month of each material, in grams or pieces, in one query.

    Of the last half year up to yesterday, from the first use in it on; a material that was first
    used less than four weeks ago, or not at all, is left out. Raises Forbidden.
    """
    actor.must(Verb.READ)
    last = day_of(actor, now) - timedelta(days=1)
    with connection.cursor() as cursor:
        cursor.execute(
            _USED_SINCE,
            {
                "coop": actor.coop_id,
                "maker": actor.maker,
                "materials": list(materials),
                "first": last - timedelta(days=HALF_A_YEAR - 1),
                "last": last,
            },
        )
        rows = cursor.fetchall()
    found = {material: (used, (last - since).days + 1) for material, used, since in rows}
    return {
        material: used / days * DAYS_A_MONTH
        for material, (used, days) in found.items()
        if used > 0 and days >= LEAST_DAYS
    }


def mean_daily_use(
    coop_id: UUID, maker_id: UUID, materials: Iterable[UUID], *, today: date
) -> dict[UUID, Decimal]:
    """What the maker uses of each material in a day, in grams or pieces, by its last ninety days.

    One query inside the maker's walls; what was not used is not in the answer.
    """
    last = today - timedelta(days=1)
    with connection.cursor() as cursor:
        cursor.execute(
            _MEAN,
            {
                "coop": coop_id,
                "maker": maker_id,
                "materials": list(materials),
                "first": last - timedelta(days=DAYS_OF_USE - 1),
                "last": last,
            },
        )
        return dict(cursor.fetchall())
