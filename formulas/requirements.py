"""What planned batches need in the weeks to come, less what is there and on its way; and what is
low beside that."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from formulas.composition import Recipe
from formulas.models import Formula
from formulas.planned_days import days_of
from formulas.recipes import recipes_below
from formulas.requirement_records import DAYS, Dated, Facts, Record, records_of
from ledger.access import Actor, day_of
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.expiring import InStore
from ledger.models import Material
from ledger.offer_reading import offers_on
from ledger.reordering import Reorder, reorder
from ledger.roles import Verb
from ledger.statements import run
from ledger.usage_reading import DAYS_A_MONTH, monthly_use

MOST_WEEKS: Final = 53
# What may be used today: released and in date, whomever it is promised to.
_STORED: Final = """
select h.material_id::text, h.quantity, ledger_last_day(l.expires_on, l.retest_on, c.use_by)
  from ledger_holding h
  join ledger_lot l on l.coop_id = h.coop_id and l.id = h.lot_id
  join ledger_custody c on c.coop_id = h.coop_id and c.maker_id = h.maker_id
                       and c.lot_id = h.lot_id and c.status = 'released'
 where h.coop_id = %(coop)s and h.maker_id = %(maker)s and h.kind = 'store' and h.any_left
   and h.material_id = any (%(materials)s::uuid[])
   and (ledger_last_day(l.expires_on, l.retest_on, c.use_by) is null
        or ledger_last_day(l.expires_on, l.retest_on, c.use_by) >= %(today)s::date)
"""
# What is watched, and where the maker stands with it today.
_WATCHED: Final = """
select w.material_id::text, w.reorder_point, coalesce(w.safety_stock, 0), w.lead_days, s."position"
  from ledger_watch w
  join ledger_stock(array(select material_id from ledger_watch
                            where coop_id = %(coop)s and maker_id = %(maker)s), %(today)s::date) s
    on s.material_id = w.material_id
 where w.coop_id = %(coop)s and w.maker_id = %(maker)s
"""


@dataclass(frozen=True, slots=True)
class Requirement:
    """A stocked material, its record, and what its watch asks for where it is low."""

    material: Material
    record: Record
    reorder: Reorder | None = None

    @property
    def to_order(self) -> Decimal:
        """What covers the needs, and brings it back above its point where it is low."""
        return max(self.record.net, self.reorder.quantity if self.reorder else Decimal(0))

    @property
    def asks(self) -> bool:
        """Whether there is anything to say of it."""
        return bool(self.to_order or any(week.netted.gross for week in self.record.weeks))


@dataclass(frozen=True, slots=True)
class Requirements:
    """The weeks from today that hold the last day, and each material that is needed in them."""

    first: date
    last: date
    rows: tuple[Requirement, ...]


@dataclass(frozen=True, slots=True)
class _Watched:
    """What a watch says of a material, and the position of today."""

    point: Decimal
    safety: Decimal
    lead_days: int | None
    position: Decimal


def requirements(
    actor: Actor, *, now: datetime, until: date, with_leads: bool = True
) -> Requirements:
    """What batches planned up to a day need, by material and week, through all intermediates.

    Covered by what may be used and does not expire before, by what is on order and by what planned
    batches give; what is quarantined, rejected or held covers nothing. A net need of an
    intermediate is exploded as a batch of it would be. What is not stocked is left out. A bought
    material has the lead time of the offer that comes soonest; where that is not known or may not
    be seen, and of what is made here, that which its watch states. The safety stock of a watch is
    kept in every week, and a material at or below its point is told whether a batch needs it or
    not; of products of one's own nothing is told. Raises Forbidden, and Invalid for a day before
    today or too far off.
    """
    actor.must(Verb.READ)
    today = day_of(actor, now)
    weeks = _weeks(today, until)
    asked = {"coop": actor.coop_id, "maker": actor.maker, "today": today, "until": until}
    dated = days_of(actor.coop_id, actor.maker, today=today, until=until)
    watched = {row[0]: _Watched(*row[1:]) for row in run(_WATCHED, asked)}
    needs = dated.needs
    for material, one in watched.items():
        if one.safety or one.position <= one.point:
            needs[material] += []
    made, recipes = _made(actor, needs)
    every = {*needs, *made} | {
        line.ingredient.id
        for recipe in recipes.values()
        for line in recipe.lines
        if line.ingredient.id not in recipes
    }
    materials = {str(m.id): m for m in Material.objects.filter(id__in=every, stocked=True)}
    facts = Facts(
        first=today,
        weeks=weeks,
        needs=needs,
        arriving=dated.arriving,
        stored=_stored(run(_STORED, {**asked, "materials": list(every)})),
        made=made,
        recipes=recipes,
        lead_days=_lead_days(actor, today, materials, watched) if with_leads else {},
        safety={material: one.safety for material, one in watched.items()},
    )
    records = {id: record for id, record in records_of(facts).items() if id in materials}
    low = _low(actor, _standing(records, watched, needs), watched, now)
    rows = [Requirement(materials[id], record, low.get(id)) for id, record in records.items()]
    found = [row for row in rows if row.asks and not _is_product(row)]
    found.sort(key=lambda one: (one.material.name, one.material.id))
    last = found[0].record.weeks[-1].last if found else until
    return Requirements(today, last, tuple(found))


def _weeks(today: date, until: date) -> int:
    weeks = (until - today).days // DAYS + 1
    if not 1 <= weeks <= MOST_WEEKS:
        raise Invalid(
            Sentence("Ask for a day from today to {most_weeks} weeks on.", most_weeks=MOST_WEEKS),
            pointer="/until",
        )
    return weeks


def _stored(rows: Iterable[tuple[str, Decimal, date | None]]) -> dict[str, list[InStore]]:
    stored: dict[str, list[InStore]] = defaultdict(list)
    for material, quantity, last_day in rows:
        stored[material].append(InStore(quantity, last_day))
    return stored


def _is_product(row: Requirement) -> bool:
    """Whether it is of the maker's own and no formula makes it, so that it is filled or packed."""
    return row.material.maker_id is not None and row.record.formula is None


def _standing(
    records: Mapping[str, Record], watched: Mapping[str, _Watched], needs: Mapping[str, Dated]
) -> dict[str, Decimal]:
    """What can be counted on of what is watched: the position as its alert has it, less what
    intermediates need that are still to be planned. Of what is made here, a batch that is planned
    counts for what it will give."""
    found = {}
    for id, record in records.items():
        if record.formula and id in watched:
            found[id] = record.left
        elif id in watched:
            planned = sum((quantity for _, quantity in needs[id]), Decimal(0))
            found[id] = watched[id].position - (record.needed - planned)
    return found


def _low(
    actor: Actor,
    standing: Mapping[str, Decimal],
    watched: Mapping[str, _Watched],
    now: datetime,
) -> dict[str, Reorder]:
    """What is at or below its point, by where it stands."""
    ids = [UUID(id) for id, position in standing.items() if position <= watched[id].point]
    used = monthly_use(actor, materials=ids, now=now) if ids else {}
    found = {}
    for id in ids:
        weekly = used.get(id, Decimal(0)) / DAYS_A_MONTH * DAYS
        low = reorder(standing[str(id)], point=watched[str(id)].point, weekly_use=weekly)
        if low is not None:
            found[str(id)] = low
    return found


def _made(actor: Actor, needed: Collection[str]) -> tuple[dict[str, str], dict[str, Recipe]]:
    """The formulas that make what is needed and what that is made of, and their recipes."""
    own = Formula.objects.filter(maker_id=actor.maker).values_list("material_id", "id")
    makes = {str(material): str(formula) for material, formula in own}
    first = [makes[material] for material in needed if material in makes]
    recipes = recipes_below(actor.coop_id, first)
    return {material: makes[material] for material in makes if makes[material] in recipes}, recipes


def _lead_days(
    actor: Actor,
    day: date,
    materials: Mapping[str, Material],
    watched: Mapping[str, _Watched],
) -> dict[str, int]:
    """By the offer that comes soonest, else as the watch states it."""
    stated = {id: one.lead_days for id, one in watched.items() if one.lead_days is not None}
    if not actor.may(Verb.SEE_OFFERS):
        return stated
    found: dict[str, int] = {}
    for offer in offers_on(actor, day=day, materials=list(materials)):
        if offer.lead_time_days is not None:
            material = str(offer.material)
            found[material] = min(offer.lead_time_days, found.get(material, offer.lead_time_days))
    return stated | found
