"""What is to come out of a batch beside its main product, before and after it has its lots."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from formulas.by_products import ByProductDraft, materials_of_by_products, open_by_products
from formulas.joint_products import JointDraft, materials_of_joint, open_joint_products
from formulas.models import Batch
from formulas.outcomes import Outcome
from ledger.access import Actor
from ledger.models import Holding, Material


@dataclass(frozen=True, slots=True)
class BesideDrafts:
    """What is to come out beside the main product, and what each of it is of."""

    by_products: Sequence[ByProductDraft]
    materials: Sequence[Material]
    joint: JointDraft | None
    others: Sequence[Material]

    @classmethod
    def of(
        cls, actor: Actor, by_products: Sequence[ByProductDraft], joint: JointDraft | None
    ) -> "BesideDrafts":
        """Raises NotFound."""
        materials = materials_of_by_products(actor, by_products)
        return cls(by_products, materials, joint, materials_of_joint(actor, joint))

    def opened(
        self,
        actor: Actor,
        batch: Batch,
        outcome: Outcome,
        held: Sequence[Holding],
        happened_at: datetime,
    ) -> Outcome:
        """The outcome with a lot for each."""
        at = (held, happened_at)
        main = (outcome.entered, outcome.output_grams)
        return replace(
            outcome,
            by_products=open_by_products(actor, batch, self.by_products, self.materials, *at),
            joint=open_joint_products(actor, batch, self.joint, self.others, main, *at),
        )
