"""Rework: a lot of the maker's own put into a new batch, with who approved it and why."""

from django.db import models
from django.db.models import Q

from formulas.models.batches import Batch
from formulas.models.formulas import percent_field
from formulas.models.making import Weighing
from ledger.models.base import MakerRow, link


class Rework(MakerRow):
    """A weighing that is rework; it counts as long as the weighing does.

    `percent` is all rework in the batch with it, of the batch as it was planned, and `max_percent`
    what the formula version allowed.
    """

    batch = link(Batch, related_name="reworks")
    weighing = link(Weighing, related_name="reworks")
    approval = models.CharField(max_length=400)
    percent = percent_field()
    max_percent = percent_field()
    deviation = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "weighing"], name="rework_by_weighing"),
            models.CheckConstraint(condition=~Q(approval=""), name="rework_is_approved"),
            models.CheckConstraint(
                condition=Q(percent__lte=models.F("max_percent")) | ~Q(deviation=""),
                name="rework_within_maximum",
            ),
        )
        indexes = (models.Index(fields=["coop", "batch"], name="rework_by_batch"),)
