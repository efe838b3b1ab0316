"""Choosing the cost formula: which cost leaves with the goods of a class of material."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

from ledger.access import Actor
from ledger.entries import explained, lock_pools
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.ids import new_id
from ledger.models import CostPolicy, Pool
from ledger.models.catalogue import CostFormula
from ledger.roles import Verb

LONGEST_CLASS: Final = 60
ALONE: Final = "select pg_advisory_xact_lock(hashtextextended(%s, 0))"
CHANGE: Final = "select ledger_choose_cost_formula(%s, %s, %s, %s, %s, %s)"


@dataclass(frozen=True, slots=True)
class Chosen:
    """The policy that holds from now on, and the entry of each material whose layers changed."""

    policy: CostPolicy
    entries: dict[UUID, UUID]


def choose_cost_formula(
    actor: Actor, *, cost_class: str, formula: str, reason: str, happened_at: datetime
) -> Chosen:
    """Choose lot, fifo or average for all of the maker's materials of one class.

    Inventories of a similar nature and use have the same cost formula (IAS 2.25), so it is chosen
    for a class and never for one material. It works forward only: what is in store keeps the
    value it has, in layers of the new shape, and nothing earlier is recosted. A material's own
    formula is only its default, and yields to the maker's choice.

    Raises Forbidden, and Invalid for no class, an unknown formula, no reason, and a moment in
    the future or in a closed period.
    """
    actor.must(Verb.SET_COST_FORMULA)
    if not 0 < len(cost_class.strip()) <= LONGEST_CLASS:
        raise Invalid(
            Sentence(
                "Name the class of material in up to {longest_class} characters.",
                longest_class=LONGEST_CLASS,
            ),
            pointer="/cost_class",
        )
    if formula not in CostFormula.values:
        raise Invalid(
            Sentence("Choose one of {formulas}.", formulas=", ".join(CostFormula.values)),
            pointer="/formula",
        )
    if not reason.strip():
        raise Invalid("Say why the cost formula changes.", pointer="/reason")
    with connection.cursor() as cursor:
        # Whoever makes a pool shares this lock, so that none is made of the old formula meanwhile.
        cursor.execute(ALONE, [f"cost formulas of {actor.maker}"])
    CostPolicy.objects.bulk_create(
        [
            CostPolicy(
                coop_id=actor.coop_id,
                maker_id=actor.maker,
                cost_class=cost_class,
                cost_formula=formula,
            )
        ],
        update_conflicts=True,
        unique_fields=["coop", "maker", "cost_class"],
        update_fields=["cost_formula"],
    )
    policy = CostPolicy.objects.get(maker_id=actor.maker, cost_class=cost_class)
    return Chosen(policy, _reshape(actor, policy, reason, happened_at))


def policies_of(actor: Actor) -> "QuerySet[CostPolicy]":
    """The cost formulas that the maker has chosen, by class. Raises Forbidden."""
    actor.must(Verb.READ)
    return CostPolicy.objects.filter(maker_id=actor.maker).order_by("cost_class")


def _reshape(
    actor: Actor, policy: CostPolicy, reason: str, happened_at: datetime
) -> dict[UUID, UUID]:
    """Give the layers of every material of the class the shape that the formula needs."""
    pools = Pool.objects.filter(maker_id=actor.maker, material__cost_class=policy.cost_class)
    materials = sorted(pools.values_list("material_id", flat=True))
    lock_pools(materials)
    changing = pools.exclude(cost_formula=policy.cost_formula).values_list("material_id", flat=True)
    entries = {material: new_id() for material in sorted(changing)}
    with explained(), connection.cursor() as cursor:
        for material, entry in entries.items():
            cursor.execute(
                CHANGE,
                [entry, material, policy.cost_formula, happened_at, actor.person_id, reason],
            )
    return entries
