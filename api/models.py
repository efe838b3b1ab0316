"""What the API itself remembers: who is signed in, and which request was answered how."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from ledger.models.base import CoopRow, link


class Token(CoopRow):
    """A sign-in to one co-op. Only a digest is kept, so a copy of the database opens nothing."""

    digest = models.BinaryField(max_length=32)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+", db_index=False
    )
    read_only = models.BooleanField(default=False)
    note = models.CharField(max_length=80, blank=True, db_default="", help_text="What it is for.")
    created_at = models.DateTimeField(db_default=Now())
    expires_at = models.DateTimeField()

    class Meta:
        constraints = (models.UniqueConstraint(fields=["digest"], name="token_digest_once"),)


class Answer(CoopRow):
    """The answer given to a request with an Idempotency-Key, replayed for seven days."""

    maker = link("ledger.Maker", null=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+", db_index=False
    )
    key = models.CharField(max_length=255)
    fingerprint = models.BinaryField(max_length=32)
    status = models.PositiveSmallIntegerField()
    body = models.TextField()
    headers = models.JSONField(default=dict)
    answered_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "person", "key"], name="answer_once"),
        )
        indexes = (models.Index(fields=["answered_at"], name="answer_by_age"),)


class Preference(CoopRow):
    """How a person wants figures and pages shown; what is stored is the same for all.

    Empty means what the browser says, and metric units.
    """

    class Units(models.TextChoices):
        METRIC = "metric"
        US = "us"

    class Theme(models.TextChoices):
        LIGHT = "light"
        DARK = "dark"

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+", db_index=False
    )
    units = models.CharField(max_length=6, choices=Units.choices, blank=True)
    theme = models.CharField(max_length=5, choices=Theme.choices, blank=True)
    numbers = models.CharField(max_length=12, blank=True, help_text="A language tag.")

    class Meta:
        constraints = (models.UniqueConstraint(fields=["coop", "person"], name="preference_once"),)
