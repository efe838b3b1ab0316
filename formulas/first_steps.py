"""The way of a maker who begins, from the first material to the first finished batch."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from django.db.models import Exists, Q

from formulas.models import Batch, Formula, Making
from ledger.access import Actor
from ledger.models import Custody, Maker, Material, ReceiptLine, Status
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
    """A step, whether it is done, and whether it is the next one to do."""

    step: Step
    done: bool
    next: bool


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
        Step.DELIVERY: ReceiptLine.objects.filter(**own),
        Step.RELEASE: Custody.objects.filter(**own, status=Status.RELEASED),
        Step.FORMULA: Formula.objects.filter(**own),
        Step.BATCH: Batch.objects.filter(**own),
        Step.FINISH: Making.objects.filter(**own),
    }
    asked = {step.value: Exists(rows) for step, rows in done.items()}
    (found,) = Maker.objects.filter(id=actor.maker).annotate(**asked).values(*asked)
    if all(found.values()):
        return []
    left = [step for step in Step if not found[step.value]]
    return [Taken(step, found[step.value], step is left[0]) for step in Step]
