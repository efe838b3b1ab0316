"""Where lots lie: a maker's places, and every time that a lot was put somewhere."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Lower

from ledger.models.base import MakerRow, link
from ledger.models.stock import Lot, Status


class Place(MakerRow):
    """A shelf, a room, a cupboard; one that `keeps` a status is for lots of that status alone.

    Separation by status in place (ISO 22716 6.6.6), beside that in the books.
    """

    name = models.CharField(max_length=80)
    keeps = models.CharField(max_length=10, blank=True, choices=Status.choices)
    retired_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint("coop", "maker", Lower("name"), name="place_name_once"),
            models.CheckConstraint(condition=~models.Q(name=""), name="place_has_a_name"),
            models.CheckConstraint(
                condition=models.Q(keeps__in=["", *Status.values]), name="place_keeps_a_status"
            ),
        )

    def __str__(self) -> str:
        return self.name


class Placing(MakerRow):
    """Who put a lot where, and when; without a place it was taken out of the one that it had."""

    lot = link(Lot)
    place = link(Place, null=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    placed_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = (models.Index(fields=["coop", "maker", "lot"], name="placing_by_lot"),)
