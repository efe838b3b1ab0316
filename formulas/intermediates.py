"""Planning the batches of intermediates that a planned batch lacks, through all levels."""

from collections.abc import Iterable
from datetime import date
from uuid import UUID

from formulas.access import batches_of, locked_batch, with_details
from formulas.advising import missing
from formulas.batches import Size, must_be_planned, plan_batch
from formulas.composition import Kind, Recipe
from formulas.errors import NothingShort
from formulas.models import Batch, Formula, MadeFor
from formulas.recipes import recipes_under
from ledger.access import Actor
from ledger.entries import lock_pools
from ledger.models import Maker, Material
from ledger.quantities import Quantity
from ledger.roles import Verb


def plan_intermediates(
    actor: Actor, *, batch: UUID | str, planned_for: date | None = None
) -> list[Batch]:
    """Plan a batch of each intermediate that a planned batch lacks, and of what those lack.

    Each makes what is missing, need ÷ (1 - loss), on `planned_for` or the batch's own day, and is
    kept as planned for its parent. What is planned for it already is not planned twice. Once an
    intermediate is finished and released, choose the parent's lots anew. Raises NotFound,
    AlreadyFinished, NothingShort, and what planning raises.
    """
    actor.must(Verb.MAKE)
    found = locked_batch(actor, batch)
    must_be_planned(found)
    day = planned_for or found.planned_for
    _lock(actor, recipes_under(found.version))
    planned: list[Batch] = []
    parents = [found.id]
    while parents:
        parent = with_details(batches_of(actor)).get(id=parents.pop(0))
        for formula, grams in missing(parent).items():
            output = Quantity(f"{grams:f} g", "mass", grams)
            child = plan_batch(actor, planned_for=day, size=Size(output=output), formula=formula)
            MadeFor.objects.create(
                coop_id=actor.coop_id, maker_id=actor.maker, batch=child.batch, parent=parent
            )
            planned.append(child.batch)
            parents.append(child.batch.id)
    if not planned:
        raise NothingShort(batch=found.code)
    return planned


def _lock(actor: Actor, recipes: dict[str, Recipe]) -> None:
    """All pools that any of the plans will look at, at once; the maker's row before them."""
    Maker.objects.select_for_update(no_key=True).get(id=actor.maker)
    bought = _materials(recipes.values())
    made = Formula.objects.filter(maker_id=actor.maker, id__in=list(recipes))
    wanted = {*bought, *made.values_list("material_id", flat=True)}
    lock_pools(Material.objects.filter(id__in=wanted, stocked=True).values_list("id", flat=True))


def _materials(recipes: Iterable[Recipe]) -> set[UUID]:
    return {
        UUID(line.ingredient.id)
        for recipe in recipes
        for line in recipe.lines
        if line.ingredient.kind is Kind.MATERIAL
    }
