"""What was looked at before, during or after a batch, and by whom. Rows are only added."""

from django.conf import settings
from django.db import models

from formulas.models.batches import Batch
from ledger.models.base import MakerRow, link


class BatchCheck(MakerRow):
    """One thing looked at: it was as it should be, or not."""

    class Kind(models.TextChoices):
        START_UP = "start_up"
        EQUIPMENT = "equipment"
        CLEARANCE = "clearance"
        APPROVAL = "approval"

    batch = link(Batch, related_name="checks")
    kind = models.CharField(max_length=16, choices=Kind.choices)
    subject = models.CharField(max_length=120, blank=True)
    passed = models.BooleanField()
    note = models.CharField(max_length=400, blank=True)
    happened_at = models.DateTimeField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(passed=True) | ~models.Q(note=""), name="failed_check_says_why"
            ),
        )
        indexes = (models.Index(fields=["coop", "batch"], name="check_of_batch"),)
