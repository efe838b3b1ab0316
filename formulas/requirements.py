"""What planned batches need in the weeks to come, less what is there and on its way."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from formulas.composition import Recipe
from formulas.models import Formula
from formulas.recipes import recipes_below
from formulas.requirement_records import DAYS, Facts, Record, records_of
from ledger.access import Actor
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.expiring import InStore
from ledger.models import Material
from ledger.offer_reading import offers_on
from ledger.roles import Verb
from ledger.statements import run

MOST_WEEKS: Final = 53
# What planned batches still need, promised to them or lacking; what is promised otherwise, today.
# What planned batches of bulk and intermediates will give, and what is on order: today where
# nobody has said when it comes.
_DATED: Final = """
select 'needs', n.material_id::text, coalesce(b.planned_for, %(today)s::date), sum(n.quantity)
  from (select account_id, material_id, quantity from ledger_reservation
          where coop_id = %(coop)s and maker_id = %(maker)s and quantity > 0
        union all
        select account_id, material_id, quantity from ledger_shortfall
          where coop_id = %(coop)s and maker_id = %(maker)s and quantity > 0) n
  left join formulas_batch b on b.coop_id = %(coop)s and b.account_id = n.account_id
 where coalesce(b.planned_for, %(today)s::date) <= %(until)s::date
 group by 2, 3
union all
select 'arriving', material_id::text, coalesce(expected_on, %(today)s::date), sum(quantity)
  from ledger_onorder
 where coop_id = %(coop)s and maker_id = %(maker)s and any_left
   and coalesce(expected_on, %(today)s::date) <= %(until)s::date
 group by 2, 3
union all
select 'arriving', f.material_id::text, b.planned_for, sum(b.output_grams)
  from formulas_batch b
  join formulas_formulaversion v on v.coop_id = b.coop_id and v.id = b.version_id
  join formulas_formula f on f.coop_id = v.coop_id and f.id = v.formula_id
 where b.coop_id = %(coop)s and b.maker_id = %(maker)s and b.state = 'planned'
   and b.product_id is null and b.planned_for <= %(until)s::date
 group by 2, 3
"""
# What may be used today: released and in date, whomever it is promised to.
_STORED: Final = """
select h.material_id::text, h.quantity, least(l.expires_on, l.retest_on)
  from ledger_holding h
  join ledger_lot l on l.coop_id = h.coop_id and l.id = h.lot_id
  join ledger_custody c on c.coop_id = h.coop_id and c.maker_id = h.maker_id
                       and c.lot_id = h.lot_id and c.status = 'released'
 where h.coop_id = %(coop)s and h.maker_id = %(maker)s and h.kind = 'store' and h.any_left
   and h.material_id = any (%(materials)s::uuid[])
   and (least(l.expires_on, l.retest_on) is null
        or least(l.expires_on, l.retest_on) >= %(today)s::date)
"""


@dataclass(frozen=True, slots=True)
class Requirement:
    """A stocked material and its record."""

    material: Material
    record: Record


@dataclass(frozen=True, slots=True)
class Requirements:
    """The weeks from today that hold the last day, and each material that is needed in them."""

    first: date
    last: date
    rows: tuple[Requirement, ...]


def requirements(
    actor: Actor, *, today: date, until: date, with_leads: bool = True
) -> Requirements:
    """What batches planned up to a day need, by material and week, through all intermediates.

    Covered by what may be used and does not expire before, by what is on order and by what planned
    batches give; what is quarantined, rejected or held covers nothing. A net need of an
    intermediate is exploded as a batch of it would be. What is not stocked is left out. A bought
    material has the lead time of the offer that comes soonest, none where that is not known or may
    not be seen. Raises Forbidden, and Invalid for a day before today or too far off.
    """
    actor.must(Verb.READ)
    weeks = (until - today).days // DAYS + 1
    if not 1 <= weeks <= MOST_WEEKS:
        raise Invalid(
            Sentence("Ask for a day from today to {most_weeks} weeks on.", most_weeks=MOST_WEEKS),
            pointer="/until",
        )
    asked = {"coop": actor.coop_id, "maker": actor.maker, "today": today, "until": until}
    dated = _dated(run(_DATED, asked))
    needs = dated["needs"]
    made, recipes = _made(actor, needs)
    every = {*needs, *made} | {
        line.ingredient.id
        for recipe in recipes.values()
        for line in recipe.lines
        if line.ingredient.id not in recipes
    }
    materials = {str(m.id): m for m in Material.objects.filter(id__in=every, stocked=True)}
    stored: dict[str, list[InStore]] = defaultdict(list)
    for material, quantity, last_day in run(_STORED, {**asked, "materials": list(every)}):
        stored[material].append(InStore(quantity, last_day))
    facts = Facts(
        first=today,
        weeks=weeks,
        needs=needs,
        arriving=dated["arriving"],
        stored=stored,
        made=made,
        recipes=recipes,
        lead_days=_lead_days(actor, today, materials) if with_leads else {},
    )
    found = [
        Requirement(materials[material], record)
        for material, record in records_of(facts).items()
        if material in materials
    ]
    found.sort(key=lambda one: (one.material.name, one.material.id))
    last = found[0].record.weeks[-1].last if found else until
    return Requirements(today, last, tuple(found))


Dated = dict[str, list[tuple[date, Decimal]]]


def _dated(rows: Iterable[tuple[str, str, date, Decimal]]) -> dict[str, Dated]:
    """Quantities with their days, by what they are and by material."""
    found: dict[str, Dated] = {"needs": defaultdict(list), "arriving": defaultdict(list)}
    for what, material, day, quantity in rows:
        found[what][material].append((day, quantity))
    return found


def _made(actor: Actor, needed: Collection[str]) -> tuple[dict[str, str], dict[str, Recipe]]:
    """The formulas that make what is needed and what that is made of, and their recipes."""
    own = Formula.objects.filter(maker_id=actor.maker).values_list("material_id", "id")
    makes = {str(material): str(formula) for material, formula in own}
    first = [makes[material] for material in needed if material in makes]
    recipes = recipes_below(actor.coop_id, first)
    return {material: makes[material] for material in makes if makes[material] in recipes}, recipes


def _lead_days(actor: Actor, day: date, materials: Mapping[str, Material]) -> dict[str, int]:
    if not actor.may(Verb.SEE_OFFERS):
        return {}
    found: dict[str, int] = {}
    for offer in offers_on(actor, day=day, materials=list(materials)):
        if offer.lead_time_days is not None:
            material = str(offer.material)
            found[material] = min(offer.lead_time_days, found.get(material, offer.lead_time_days))
    return found
