"""Recalls: what was called back, who was told, and what other makers answered. Only added."""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from ledger.models.base import FINITE, MakerRow, link, quantity
from ledger.models.stock import Decision, Lot


def _person() -> "models.ForeignKey[Any, Any]":
    return models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )


class Recall(MakerRow):
    """A lot called back by its maker; `listed` is the recall list as it was then.

    The depth is the maker's own strategy (21 CFR 7.42(b)(1)); the classification is what the
    authority has said, and nobody else (21 CFR 7.41).
    """

    class Depth(models.TextChoices):
        CONSUMER = "consumer"
        RETAIL = "retail"
        WHOLESALE = "wholesale"

    class Classification(models.TextChoices):
        I = "I"  # noqa: E741 - so they are called
        II = "II"
        III = "III"

    lot = link(Lot)
    reason = models.CharField(max_length=400)
    depth = models.CharField(max_length=9, choices=Depth.choices, blank=True)
    classification = models.CharField(max_length=3, choices=Classification.choices, blank=True)
    listed = models.JSONField()
    decision = link(Decision)
    happened_at = models.DateTimeField()
    person = _person()
    opened_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (models.CheckConstraint(condition=~Q(reason=""), name="recall_has_reason"),)
        indexes = (models.Index(fields=["coop", "maker", "lot"], name="recall_by_lot"),)


class RecallContact(MakerRow):
    """A buyer told of a recall, or heard from: how, on what day, and what became of the goods."""

    class How(models.TextChoices):
        EMAIL = "email"
        LETTER = "letter"
        MESSAGE = "message"
        PHONE = "phone"
        VISIT = "visit"

    class Outcome(models.TextChoices):
        DESTROYED = "destroyed"
        USED_UP = "used_up"

    recall = link(Recall)
    customer = models.CharField(max_length=120)
    how = models.CharField(max_length=7, choices=How.choices)
    contacted_on = models.DateField()
    answered = models.BooleanField()
    lot = link(Lot, null=True)
    outcome = models.CharField(max_length=9, choices=Outcome.choices, blank=True)
    entered = models.CharField(max_length=64, blank=True)
    quantity = quantity(null=True)
    note = models.CharField(max_length=400, blank=True)
    person = _person()
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(outcome="", lot__isnull=True, quantity__isnull=True)
                | ~Q(outcome="")
                & Q(answered=True, lot__isnull=False, quantity__gt=0, quantity__lt=FINITE),
                name="recall_outcome_was_answered",
            ),
        )
        indexes = (models.Index(fields=["coop", "recall"], name="contact_by_recall"),)


class RecallClosure(MakerRow):
    """A recall that is done, and why its maker thinks so."""

    recall = link(Recall)
    reason = models.CharField(max_length=400)
    happened_at = models.DateTimeField()
    person = _person()
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "recall"], name="recall_closed_once"),
        )


class RecallNotice(MakerRow):
    """What one maker tells another: this lot is recalled, and so much of it went to you.

    It follows from the sender's own recall, or passes on a notice that the sender had itself. Both
    see the row.
    """

    to_maker = link("ledger.Maker")
    recall = link(Recall, null=True)
    passes_on = link("self", null=True)
    lot = link(Lot)
    quantity = quantity()
    reason = models.CharField(max_length=400)
    happened_at = models.DateTimeField(help_text="When the recall began.")
    person = _person()
    sent_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(recall__isnull=False, passes_on__isnull=True)
                | Q(recall__isnull=True, passes_on__isnull=False),
                name="notice_of_one_recall",
            ),
            models.CheckConstraint(
                condition=Q(quantity__gte=0, quantity__lt=FINITE), name="notice_is_a_number"
            ),
            models.CheckConstraint(condition=~Q(maker=F("to_maker")), name="notice_to_another"),
            models.UniqueConstraint(
                fields=["coop", "maker", "to_maker", "lot", "recall", "passes_on"],
                nulls_distinct=False,
                name="notice_once",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "to_maker"], name="notice_by_receiver"),
            models.Index(fields=["coop", "recall"], name="notice_by_recall"),
            models.Index(fields=["coop", "passes_on"], name="notice_by_origin"),
        )


class RecallAnswer(MakerRow):
    """What the receiver of a notice tells its sender (`to_maker`): quantities, nothing else.

    `tally` is what its records say, and `corrected` what it knows better, for a reason. A later
    answer takes the place of an earlier one. Both makers see the row.
    """

    to_maker = link("ledger.Maker")
    notice = link(RecallNotice)
    tally = models.JSONField()
    corrected = models.JSONField(default=dict)
    reason = models.CharField(max_length=400, blank=True)
    decision = link(Decision, null=True)
    person = _person()
    answered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(corrected={}) | ~Q(reason=""), name="answer_corrected_for_a_reason"
            ),
        )
        indexes = (models.Index(fields=["coop", "notice"], name="answer_by_notice"),)
