"""The way of a maker who begins, from the first material to the first finished batch."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any
from uuid import UUID

from django.db.models import Exists, Q, Subquery

from formulas.models import Batch, Formula, Making
from ledger.access import Actor
from ledger.models import Custody, Maker, Material, Status
from ledger.places import some_left
from ledger.roles import Verb


class Step(StrEnum):
    """One after the other, each of what the one before made possible."""

    MATERIAL = "material"
    DELIVERY = "delivery"
    RELEASE = "release"
    FORMULA = "formula"
    BATCH = "batch"
    FINISH = "finish"


@dataclass(frozen=True, slots=True)
class Taken:
    """A step, whether it is done, and whether it is the next one to do.

    `of` is the lot to release and the batch to weigh; None of other steps, and where none waits.
    """

    step: Step
    done: bool
    next: bool
    of: UUID | None


def first_steps(actor: Actor) -> Sequence[Taken]:
    """The first steps of a maker in one query; none once all are done, or for who makes nothing.

    A material may have been added by any maker of the co-op.
    """
    if not actor.may(Verb.MAKE):
        return []
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker}
    done = {
        Step.MATERIAL: Material.objects.filter(
            Q(maker_id=None) | Q(maker_id=actor.maker), coop_id=actor.coop_id, stocked=True
        ),
        # Or it came from another maker, or was brought in by a list.
        Step.DELIVERY: Custody.objects.filter(**own, material__stocked=True),
        Step.RELEASE: Custody.objects.filter(**own, status=Status.RELEASED),
        Step.FORMULA: Formula.objects.filter(**own),
        Step.BATCH: Batch.objects.filter(**own),
        Step.FINISH: Making.objects.filter(**own),
    }
    waiting = Custody.objects.filter(some_left(), **own, status=Status.QUARANTINE)
    planned = Batch.objects.filter(**own, state=Batch.State.PLANNED)
    about = {
        Step.RELEASE: waiting.order_by("since", "lot_id").values("lot_id")[:1],
        Step.FINISH: planned.order_by("planned_for", "id").values("id")[:1],
    }
    asked: dict[str, Any] = {step.value: Exists(rows) for step, rows in done.items()}
    asked |= {f"{step.value}_of": Subquery(rows) for step, rows in about.items()}
    (found,) = Maker.objects.filter(id=actor.maker).annotate(**asked).values(*asked)
    left = [step for step in Step if not found[step.value]]
    return [
        Taken(step, found[step.value], step is left[0], found.get(f"{step.value}_of"))
        for step in (Step if left else ())
    ]
