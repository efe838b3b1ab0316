"""Watches over stock, the alerts they raise, and the outbox that owns the work to be done."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from ledger.models.base import FINITE, MakerRow, link, quantity


class Watch(MakerRow):
    """Warn the maker when the position of a material is at or below its reorder point."""

    material = link("ledger.Material")
    reorder_point = quantity()
    entered = models.CharField(max_length=64)
    safety_stock = quantity(null=True)
    lead_days = models.PositiveSmallIntegerField(
        null=True, help_text="From an order until it may be used, as the maker states it."
    )
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "maker", "material"], name="watch_once"),
            models.CheckConstraint(
                condition=models.Q(reorder_point__gte=0, reorder_point__lt=FINITE),
                name="watch_point_not_negative",
            ),
            models.CheckConstraint(
                condition=models.Q(safety_stock=None)
                | models.Q(safety_stock__gte=0, safety_stock__lte=models.F("reorder_point")),
                name="watch_safety_within_point",
            ),
        )


class AlertKind(models.TextChoices):
    """What an alert may be about."""

    LOW_STOCK = "low_stock"
    BATCH_SHORT = "batch_short"
    EXPIRING = "expiring"
    RETEST_DUE = "retest_due"
    QUARANTINE_AGEING = "quarantine_ageing"
    PRICE_JUMP = "price_jump"
    DEPOSIT_UNCLAIMED = "deposit_unclaimed"
    CALLED_BACK = "called_back"


class Alert(MakerRow):
    """Something the maker should act on; at most one open of a kind for a subject.

    `subject` is the id of what it is about: a material, a lot, a planned batch. `state_key` is what
    of it would be news if it changed. Position, reorder point and facts stay as they were found
    when the alert opened.
    """

    kind = models.CharField(max_length=20, choices=AlertKind.choices)
    subject = models.UUIDField()
    state_key = models.CharField(max_length=64, blank=True)
    material = link("ledger.Material", null=True)
    lot = link("ledger.Lot", null=True)
    position = quantity(null=True)
    reorder_point = quantity(null=True)
    facts = models.JSONField(default=dict)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True)
    acknowledged_at = models.DateTimeField(null=True)
    acknowledged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", null=True, db_index=False
    )
    snoozed_until = models.DateTimeField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "maker", "kind", "subject"],
                condition=models.Q(closed_at__isnull=True),
                name="alert_open_once",
            ),
            models.CheckConstraint(
                condition=models.Q(acknowledged_at__isnull=True, acknowledged_by__isnull=True)
                | models.Q(acknowledged_at__isnull=False, acknowledged_by__isnull=False),
                name="alert_acknowledged_by_somebody",
            ),
        )
        indexes = (models.Index(fields=["coop", "maker", "id"], name="alert_by_maker"),)


class Outbox(MakerRow):
    """Work owed: written with the entry that causes it, done after commit, at least once."""

    task = models.CharField(max_length=40)
    subject = models.UUIDField(help_text="What the task is about: a material, an alert.")
    due_at = models.DateTimeField(db_default=Now())
    attempts = models.PositiveSmallIntegerField(db_default=0)
    claimed_until = models.DateTimeField(null=True)
    done_at = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=400, blank=True, db_default="")

    class Meta:
        verbose_name_plural = "outbox"
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "maker", "task", "subject"],
                condition=models.Q(done_at__isnull=True, claimed_until__isnull=True),
                name="outbox_waiting_once",
            ),
        )
        indexes = (
            models.Index(
                fields=["due_at"],
                condition=models.Q(done_at__isnull=True),
                name="outbox_owed",
            ),
        )


class Sweep(models.Model):
    """Who was first: one row for each periodic task, co-op and window of time."""

    pk = models.CompositePrimaryKey("coop_id", "task", "begins_at")
    coop = link("ledger.Coop")
    task = models.CharField(max_length=40)
    begins_at = models.DateTimeField()
