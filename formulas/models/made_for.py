"""Batches of intermediates that were planned because another batch lacks what they make."""

from django.db import models

from formulas.models.batches import Batch
from ledger.models.base import MakerRow, link


class MadeFor(MakerRow):
    """A batch of an intermediate, and the batch that it was planned for."""

    batch = link(Batch, related_name="made_for")
    parent = link(Batch, related_name="intermediates")

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "batch"], name="made_for_one"),
            models.CheckConstraint(
                condition=~models.Q(batch=models.F("parent")), name="made_for_another"
            ),
        )
        indexes = (models.Index(fields=["coop", "parent"], name="made_for_parent"),)
