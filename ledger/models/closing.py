"""Periods of a maker's books that are closed."""

from django.conf import settings
from django.db import models

from ledger.models.base import MakerRow


class Closing(MakerRow):
    """The books of a maker are closed up to a day: nothing happens on it, or before, any more.

    Rows are only added, each with a later day.
    """

    closed_on = models.DateField()
    note = models.CharField(max_length=400, blank=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "maker", "closed_on"], name="closing_once"),
        )
