"""What the API itself remembers: who is signed in, and which request was answered how."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from ledger.models.base import CoopRow, link
from ledger.models.documents import LARGEST


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


class SentList(CoopRow):
    """A list that somebody sent, with its file while it is needed.

    `found` is what was found in it (`api.list_findings`), and `why` what stopped it; in `found` its
    sentences are kept so that each reader has them in a language of their own. Without a maker it
    is of whoever acts for the co-op. It is forgotten after seven days.
    """

    class Kind(models.TextChoices):
        PRICES = "prices"
        LOTS = "lots"
        FORMULAS = "formulas"

    class State(models.TextChoices):
        WAITING = "waiting"
        TRIED = "tried"
        WRONG = "wrong"
        TAKING = "taking"
        TAKEN = "taken"
        STOPPED = "stopped"

    maker = link("ledger.Maker", null=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+", db_index=False
    )
    kind = models.CharField(max_length=8, choices=Kind.choices)
    name = models.CharField(max_length=200)
    state = models.CharField(max_length=7, choices=State.choices, db_default="waiting")
    size = models.PositiveIntegerField()
    digest = models.BinaryField(max_length=32)
    content = models.BinaryField(null=True)
    sure = models.BooleanField(db_default=False, help_text="What is there already comes in, too.")
    found = models.JSONField(null=True)
    why = models.CharField(max_length=400, blank=True, db_default="")
    sent_at = models.DateTimeField()
    asked_at = models.DateTimeField(help_text="When it was sent, or was to be taken in.")

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(kind__in=["prices", "lots", "formulas"]),
                name="sent_list_kind_known",
            ),
            models.CheckConstraint(
                condition=models.Q(state__in=["waiting", "tried", "taking"], content__isnull=False)
                | models.Q(state__in=["wrong", "taken", "stopped"], content__isnull=True),
                name="sent_list_file_while_needed",
            ),
            models.CheckConstraint(
                condition=models.Q(size__gt=0, size__lte=LARGEST), name="sent_list_size_kept"
            ),
        )
        indexes = (
            models.Index(fields=["coop", "person", "-id"], name="sent_list_by_person"),
            models.Index(fields=["sent_at"], name="sent_list_by_age"),
        )
