"""On which day a material runs out, by what is in store, what is planned and what is usual.

What batches need and give is planned above the ledger, which is told of it here: whoever plans adds
its days to the one question.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db.models import DateField, Func, JSONField, UUIDField, Value
from django.db.models.expressions import Combinable

from ledger.expiry_risk import DatedLot, runs_out_on

# Of one material of one maker on a day, named `own`: what it may count on; and each lot of which it
# may use some, with its last day and what is promised of it.
_STANDS: Final = """
select 'position', null::uuid, null::date, s."position", 0::numeric
  from ledger_stock(array[own.material], own.today) s
union all
select 'lot', h.lot_id, d.last_day, sum(h.quantity),
       coalesce((select sum(r.quantity) from ledger_reservation r
                   where r.coop_id = own.coop and r.maker_id = own.maker
                     and r.lot_id = h.lot_id), 0)
  from ledger_holding h
  join ledger_lot l on l.coop_id = own.coop and l.id = h.lot_id
  join ledger_custody c on c.coop_id = own.coop and c.maker_id = own.maker
    and c.lot_id = h.lot_id and c.status = 'released'
  cross join lateral (select ledger_last_day(l.expires_on, l.retest_on, c.use_by)) d(last_day)
 where h.coop_id = own.coop and h.maker_id = own.maker and h.material_id = own.material
   and h.kind = 'store' and h.any_left and coalesce(d.last_day >= own.today, true)
 group by h.lot_id, d.last_day
"""
_ASKED: Final = """
(select jsonb_agg(jsonb_build_array(x.what, x.lot, x.day, x.quantity::text, x.promised::text))
   from (select o.material, o.coop::uuid, o.maker::uuid, o.today::date
           from (values (%(expressions)s)) o(material, coop, maker, today)) own
   cross join lateral ({parts}) x(what, lot, day, quantity, promised))
"""
_PLANNED: Final = """
select p.what, null, p.day, p.quantity, 0 from ({part}) p(what, material, day, quantity)
"""
_parts: list[str] = [_STANDS]


@dataclass(frozen=True, slots=True)
class Standing:
    """What a maker may count on of a material by now, in grams or pieces, and the day on which it
    runs out; None where it does not, or not soon."""

    position: Decimal
    runs_out_on: date | None

    @classmethod
    def told(cls, ahead: Sequence[Sequence[Any]], daily_use: Decimal, today: date) -> "Standing":
        """By what `ahead_of` has found, and by what is used in a usual day."""
        position, lots = Decimal(0), []
        needs: list[tuple[date, Decimal]] = []
        coming: list[tuple[date, Decimal]] = []
        for what, lot, on, much, promised in ahead:
            quantity, day = Decimal(much), date.fromisoformat(on) if on else date.max
            if what == "position":
                position = quantity
            elif what == "lot":
                lots.append(DatedLot(UUID(lot), quantity, day, Decimal(promised)))
            else:
                (needs if what == "needs" else coming).append((day, quantity))
        return cls(position, runs_out_on(lots, coming, needs, daily_use, today))


def looks_ahead(part: str) -> None:
    """Add to the question a query of what is needed of `own` and what comes: 'needs' or 'arriving',
    the material, the day, and the quantity."""
    _parts.append(_PLANNED.format(part=part))


def ahead_of(coop_id: UUID, maker_id: UUID, today: date, material: str | Combinable) -> Func:
    """All that `standing` asks of the material that a column names, as a part of another query."""
    own = (Value(coop_id, UUIDField()), Value(maker_id, UUIDField()), Value(today, DateField()))
    asked = _ASKED.format(parts=" union all ".join(_parts))
    return Func(material, *own, template=asked, output_field=JSONField())
