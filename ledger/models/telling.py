"""How a maker hears of its alerts: its choices, its receivers, and each message to each of them."""

from django.conf import settings
from django.db import models

from ledger.models.base import MakerRow, link

# What a message may weigh, in bytes (Standard Webhooks 1.0.0: below 20 kB).
LARGEST_BODY = 20_000


class AlertSetting(MakerRow):
    """A maker's choices about its alerts; without a row, those of `alert_settings.DEFAULT`.

    `told` says by kind whether a mail goes at once, in the daily digest or never. The quiet hours
    are of the wall clock in `time_zone`, or where it is blank in that of the co-op.
    """

    class Telling(models.TextChoices):
        AT_ONCE = "at_once"
        DIGEST = "digest"
        NEVER = "never"

    class UseTold(models.TextChoices):
        NOBODY = "nobody"
        COUNTED = "counted"
        NAMED = "named"

    told = models.JSONField()
    digest_hour = models.PositiveSmallIntegerField()
    quiet_from = models.TimeField(null=True)
    quiet_until = models.TimeField(null=True)
    time_zone = models.CharField(max_length=64, blank=True)
    expiring_days = models.PositiveSmallIntegerField()
    retest_days = models.PositiveSmallIntegerField()
    quarantine_days = models.PositiveSmallIntegerField()
    price_jump_percent = models.PositiveSmallIntegerField(default=10)
    deposit_days = models.PositiveSmallIntegerField(default=60)
    use_told = models.CharField(
        max_length=8,
        choices=UseTold.choices,
        help_text="What other makers may learn of what this one uses.",
    )
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "maker"], name="alert_setting_once"),
            models.CheckConstraint(
                condition=models.Q(digest_hour__lte=23), name="alert_setting_hour_of_a_day"
            ),
            models.CheckConstraint(
                condition=models.Q(quiet_from__isnull=True, quiet_until__isnull=True)
                | models.Q(quiet_from__isnull=False, quiet_until__isnull=False)
                & ~models.Q(quiet_from=models.F("quiet_until")),
                name="alert_setting_quiet_hours",
            ),
        )


class AlertReceiver(MakerRow):
    """Where a maker's alerts go: a mail address, or an address of a program of its own.

    No secret is kept. Each is made anew of the server's key, the receiver's id and its number;
    `secrets_made` is the number of the latest, and the one before it counts until `earlier_until`.
    A receiver that was removed stays, since its messages name it.
    """

    class Channel(models.TextChoices):
        MAIL = "mail"
        WEBHOOK = "webhook"

    channel = models.CharField(max_length=7, choices=Channel.choices)
    address = models.CharField(max_length=500)
    secrets_made = models.PositiveSmallIntegerField(default=1)
    earlier_until = models.DateTimeField(null=True)
    resting_until = models.DateTimeField(
        null=True, help_text="It did not answer, and is left alone until then."
    )
    disabled_at = models.DateTimeField(null=True)
    removed_at = models.DateTimeField(null=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "maker", "channel", "address"],
                condition=models.Q(removed_at__isnull=True),
                name="alert_receiver_once",
            ),
        )


class AlertMessage(MakerRow):
    """One message about one event of an alert to one receiver; its id is what the receiver sees.

    Without a receiver it goes by mail to the maker's owners. With a `digest` it is one line of that
    one. The body of a message to a program is written once, so that every attempt says the same.
    """

    class Event(models.TextChoices):
        OPENED = "opened"
        CLOSED = "closed"
        REMINDER = "reminder"
        TEST = "test"

    class State(models.TextChoices):
        WAITING = "waiting"
        SENT = "sent"
        DROPPED = "dropped"
        FAILED = "failed"

    alert = link("ledger.Alert", null=True)
    event = models.CharField(max_length=8, choices=Event.choices)
    of_moment = models.DateTimeField(help_text="When it opened, closed, or was to be told again.")
    receiver = link("ledger.AlertReceiver", null=True)
    digest = models.UUIDField(null=True)
    body = models.TextField(blank=True)
    due_at = models.DateTimeField()
    state = models.CharField(max_length=7, choices=State.choices, default=State.WAITING)
    ended_at = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    last_code = models.PositiveSmallIntegerField(null=True)
    note = models.CharField(max_length=200, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "maker", "alert", "event", "of_moment", "receiver"],
                condition=models.Q(alert__isnull=False),
                nulls_distinct=False,
                name="alert_message_once",
            ),
            models.CheckConstraint(
                condition=models.Q(state="waiting", ended_at__isnull=True)
                | ~models.Q(state="waiting") & models.Q(ended_at__isnull=False),
                name="alert_message_ended_or_waits",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "maker", "id"], name="alert_message_by_maker"),
            models.Index(
                fields=["coop", "maker", "digest"],
                condition=models.Q(digest__isnull=False),
                name="alert_message_of_digest",
            ),
        )
