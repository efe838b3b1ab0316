"""Complaints about what was sold, and what became known of each later. Only added."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from formulas.models.products import Product
from ledger.models.base import MakerRow, link


class Complaint(MakerRow):
    """What somebody told of a product, and when it was received.

    `batch_code` is what was told to stand on the pack; `lot` is the lot that it was found to be.
    """

    received_on = models.DateField()
    what_happened = models.TextField(max_length=4000)
    customer = models.CharField(max_length=120, blank=True)
    batch_code = models.CharField(max_length=80, blank=True)
    lot = link("ledger.Lot", null=True)
    product = link(Product, null=True)
    adverse = models.BooleanField()
    serious = models.BooleanField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(serious=False) | Q(adverse=True), name="complaint_serious_is_adverse"
            ),
            models.CheckConstraint(
                condition=~Q(what_happened=""), name="complaint_says_what_happened"
            ),
        )
        indexes = (
            models.Index(fields=["coop", "maker", "lot"], name="complaint_by_lot"),
            models.Index(fields=["coop", "maker", "product"], name="complaint_by_product"),
        )


class ComplaintFact(MakerRow):
    """What became known or was done later, on what day. A fact after `closed` opens it again."""

    class Kind(models.TextChoices):
        NOTE = "note"
        ADVERSE = "adverse"
        SERIOUS = "serious"
        MEDICAL_INFORMATION = "medical_information"
        REPORTED_US = "reported_us"
        REPORTED_EU = "reported_eu"
        CLOSED = "closed"

    complaint = link(Complaint, related_name="facts")
    kind = models.CharField(max_length=19, choices=Kind.choices)
    learned_on = models.DateField()
    text = models.TextField(max_length=4000)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(condition=~Q(text=""), name="complaint_fact_says_something"),
        )
        indexes = (models.Index(fields=["coop", "complaint"], name="fact_by_complaint"),)
