"""On which days planned batches need something, and on which more of it comes.

The weeks that an order covers are reckoned from these days, and so is when a material runs out.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final
from uuid import UUID

from ledger.expiry_risk import FURTHEST
from ledger.running_out import looks_ahead
from ledger.statements import run

# What planned batches still need, promised to them or lacking; what is promised otherwise, today.
# What planned batches of bulk and intermediates will give, and what is on order.
_DAYS: Final = """
select 'needs', n.material_id::text, coalesce(b.planned_for, {today}), sum(n.quantity)
  from (select account_id, material_id, quantity from ledger_reservation
          where coop_id = {coop} and maker_id = {maker} and quantity > 0 {of_some}
        union all
        select account_id, material_id, quantity from ledger_shortfall
          where coop_id = {coop} and maker_id = {maker} and quantity > 0 {of_some}) n
  left join formulas_batch b on b.coop_id = {coop} and b.account_id = n.account_id
 where coalesce(b.planned_for, {today}) <= {until}
 group by 2, 3
union all
select 'arriving', material_id::text, coalesce(expected_on, {undated}), sum(quantity)
  from ledger_onorder
 where coop_id = {coop} and maker_id = {maker} and any_left {of_some}
   and coalesce(expected_on, {undated}) <= {until}
 group by 2, 3
union all
select 'arriving', f.material_id::text, b.planned_for, sum(b.output_grams)
  from formulas_batch b
  join formulas_formulaversion v on v.coop_id = b.coop_id and v.id = b.version_id
  join formulas_formula f on f.coop_id = v.coop_id and f.id = v.formula_id
 where b.coop_id = {coop} and b.maker_id = {maker} and b.state = 'planned'
   and b.product_id is null and b.planned_for <= {until} {of_some}
 group by 2, 3
"""
# Of all materials; what comes on no day that is known is taken to come today.
_OF_ALL: Final = _DAYS.format(
    coop="%(coop)s",
    maker="%(maker)s",
    today="%(today)s::date",
    undated="%(today)s::date",
    until="%(until)s::date",
    of_some="",
)
# Of one material; nobody relies on what comes on no day that is known.
_OF_ONE: Final = _DAYS.format(
    coop="own.coop",
    maker="own.maker",
    today="own.today",
    undated="null::date",
    until=f"own.today + {FURTHEST.days}",
    of_some="and material_id = own.material",
)
looks_ahead(_OF_ONE)


@dataclass(frozen=True, slots=True)
class Days:
    """Quantities with their days, in grams or pieces, by the id of the material."""

    needs: "defaultdict[str, list[tuple[date, Decimal]]]"
    arriving: "defaultdict[str, list[tuple[date, Decimal]]]"


def days_of(coop_id: UUID, maker_id: UUID, *, today: date, until: date) -> Days:
    """What a maker plans and awaits of all materials up to a day, in one query."""
    found = Days(defaultdict(list), defaultdict(list))
    asked = {"coop": coop_id, "maker": maker_id, "today": today, "until": until}
    for what, material, day, quantity in run(_OF_ALL, asked):
        of_kind = found.needs if what == "needs" else found.arriving
        of_kind[material].append((day, quantity))
    return found
