"""What was measured at a batch. Rows are added, never changed."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from formulas.models.batches import Batch
from ledger.models.base import FINITE, MakerRow, celsius, link, quantity


class Measurement(MakerRow):
    """A value (degC, mPa.s, s; pH has no unit) or words, who measured it, when and where.

    `entered` is what was typed and `at_celsius` the temperature of what was measured. Words are
    judged by the person: `agrees`. A slip is put right by another row that names the one it
    `corrects`. `recorded_at` is set by the database.
    """

    batch = link(Batch, related_name="measurements")
    measure = models.CharField(max_length=11)
    entered = models.CharField(max_length=200)
    value = quantity(null=True)
    at_celsius = celsius()
    agrees = models.BooleanField(null=True)
    phase = models.CharField(max_length=80, blank=True)
    note = models.CharField(max_length=400, blank=True)
    corrects = link("self", null=True, related_name="corrected_by")
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField(db_default=Now())
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "corrects"], name="measurement_corrected_once"),
            models.CheckConstraint(
                condition=Q(measure="appearance", value__isnull=True)
                | Q(
                    measure__in=["ph", "temperature", "viscosity", "flow_time"],
                    value__gt=-FINITE,
                    value__lt=FINITE,
                    agrees__isnull=True,
                ),
                name="measurement_of_a_number_or_words",
            ),
            models.CheckConstraint(
                condition=Q(at_celsius__isnull=True) | Q(at_celsius__lte=1000),
                name="measurement_temperature_plausible",
            ),
            models.CheckConstraint(
                condition=~Q(corrects=F("id")), name="measurement_corrects_another"
            ),
        )
