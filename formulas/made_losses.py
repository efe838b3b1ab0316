"""What went into batches and did not come out of them, by the lots that they made."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from formulas.finishing import yield_of
from formulas.models import Batch
from ledger.access import Actor


@dataclass(frozen=True, slots=True)
class MadeLoss:
    """Grams lost in a making: as much as its formula expects, beyond that, and as declared.

    `normal_grams` is below zero where more came out than went in.
    """

    normal_grams: Decimal
    beyond_grams: Decimal
    declared_grams: Decimal
    declared_reason: str


def losses_of(actor: Actor, lots: Iterable[UUID]) -> dict[UUID, MadeLoss]:
    """The losses of the batches that made these lots as their main product, in one query."""
    made = Batch.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, making__lot_id__in=list(lots)
    )
    found = {}
    for batch in made.select_related("making", "version"):
        making = batch.making
        if making is None:
            continue
        yielded = yield_of(making, batch)
        found[making.lot_id] = MadeLoss(
            yielded.actual_grams - yielded.beyond_grams,
            yielded.beyond_grams,
            making.declared_grams,
            making.declared_reason,
        )
    return found
