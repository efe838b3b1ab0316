"""That what is added to effect is enough, or not after all. Rows are only added."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from formulas.models.batches import BatchLine
from ledger.models.base import FINITE, MakerRow, link, quantity


class Enough(MakerRow):
    """Somebody's word on a line to effect: with `grams` of it in, it is enough, or it is not."""

    line = link(BatchLine, related_name="words")
    enough = models.BooleanField()
    grams = quantity()
    said_at = models.DateTimeField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(grams__gt=0, grams__lt=FINITE), name="enough_of_something"
            ),
        )
        indexes = (models.Index(fields=["coop", "line"], name="enough_of_line"),)
