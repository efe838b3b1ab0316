"""Filled units emptied back into bulk."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from ledger.models.base import FINITE, MakerRow, link, money, quantity


class Emptying(MakerRow):
    """So many units of a lot emptied into a lot of bulk; it counts while its entry stands.

    Of what the units cost, `bulk` went with the grams and `expensed` was lost with the packaging.
    """

    lot = link("ledger.Lot")
    bulk_lot = link("ledger.Lot")
    entry = link("ledger.Entry")
    happened_at = models.DateTimeField()
    units = models.PositiveIntegerField()
    grams = quantity()
    bulk = money()
    expensed = money()
    reason = models.CharField(max_length=400)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "entry"], name="emptying_by_entry"),
            models.CheckConstraint(
                condition=Q(
                    units__gt=0,
                    grams__gt=0,
                    grams__lt=FINITE,
                    bulk__gte=0,
                    bulk__lt=FINITE,
                    expensed__gte=0,
                    expensed__lt=FINITE,
                )
                & ~Q(reason=""),
                name="emptying_above_zero",
            ),
        )
        indexes = (models.Index(fields=["coop", "bulk_lot"], name="emptying_by_bulk"),)
