"""What makers owe each other: disputes about it, and how the whole co-op clears it."""

from django.conf import settings
from django.db import models

from ledger.models.base import FINITE, CoopRow, MakerRow, link, money
from ledger.models.sharing import Movement


class Dispute(MakerRow):
    """A maker disputes a movement, or says that it no longer does; both sides see it.

    Rows are only added, and the latest counts.
    """

    to_maker = link("ledger.Maker")
    movement = link(Movement)
    stands = models.BooleanField()
    reason = models.CharField(max_length=400)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(condition=~models.Q(reason=""), name="dispute_has_reason"),
        )
        indexes = (models.Index(fields=["coop", "movement"], name="dispute_by_movement"),)


class Clearing(CoopRow):
    """The co-op's coordinator turned what all makers owe each other into as few payments as can be.

    No way would have needed fewer than `at_least`.
    """

    happened_at = models.DateTimeField()
    note = models.CharField(max_length=400, blank=True)
    at_least = models.PositiveIntegerField()
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)


class ClearingPayment(MakerRow):
    """What one maker is to pay to another after a clearing; the two see it, and the coordinator."""

    clearing = link(Clearing)
    to_maker = link("ledger.Maker")
    amount = money()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "clearing", "maker", "to_maker"], name="clearing_pays_once"
            ),
            models.CheckConstraint(
                condition=models.Q(amount__gt=0, amount__lt=FINITE),
                name="clearing_of_something",
            ),
        )
