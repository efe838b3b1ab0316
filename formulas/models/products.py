"""Products: what is sold, in what container, and the maker's policy for labour and overhead."""

from typing import Any

from django.db import models
from django.db.models import Q

from formulas.models.formulas import Formula, percent_field
from ledger.models.base import FINITE, MakerRow, link, money, quantity


def policy_percent() -> "models.DecimalField[Any, Any]":
    """A share of what materials cost, in percent."""
    return models.DecimalField(max_digits=9, decimal_places=4, default=0)


class Product(MakerRow):
    """A fill of a formula in its packaging; `version` is the ETag.

    `material` is the counted material that filling makes, the maker's own. The fill is stated by
    volume or by mass, without the overfill. Labour is in minutes and the cost of an hour. How it is
    used, and where, is for labels and cautions; empty where nobody has said.
    """

    class Use(models.TextChoices):
        LEAVE_ON = "leave_on"
        RINSE_OFF = "rinse_off"

    class Area(models.TextChoices):
        EYE = "eye"
        LIP = "lip"
        BABY = "baby"

    name = models.CharField(max_length=120)
    material = link("ledger.Material")
    formula = link(Formula)
    version = models.PositiveIntegerField(default=1)
    fill_entered = models.CharField(max_length=64)
    fill_ml = quantity(null=True)
    fill_grams = quantity(null=True)
    overfill_percent = percent_field(default=0)
    minutes_per_batch = quantity(default=0)
    minutes_per_unit = quantity(default=0)
    hourly_rate = money(default=0)
    overhead_per_batch = money(default=0)
    overhead_percent = policy_percent()
    use = models.CharField(max_length=9, choices=Use.choices, blank=True)
    areas = models.JSONField(default=list)
    gtin = models.CharField(max_length=14, blank=True, help_text="14 digits, or empty.")
    months_after_opening = models.PositiveSmallIntegerField(null=True)
    label_function = models.CharField(max_length=120, blank=True)
    label_warnings = models.CharField(max_length=1000, blank=True)
    made_by = models.CharField(max_length=300, blank=True)
    report_to = models.CharField(max_length=300, blank=True)
    safety_file = models.CharField(max_length=300, blank=True)
    notified_as = models.CharField(max_length=120, blank=True)
    professional_only = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "material"], name="product_makes_its_own"),
            models.CheckConstraint(
                condition=Q(months_after_opening__isnull=True)
                | Q(months_after_opening__gte=1, months_after_opening__lte=120),
                name="product_months_plausible",
            ),
            models.CheckConstraint(
                condition=Q(fill_ml__gt=0, fill_ml__lt=FINITE, fill_grams__isnull=True)
                | Q(fill_grams__gt=0, fill_grams__lt=FINITE, fill_ml__isnull=True),
                name="product_fill_by_volume_or_mass",
            ),
            models.CheckConstraint(
                condition=Q(use__in=["", "leave_on", "rinse_off"]), name="product_use_known"
            ),
            models.CheckConstraint(
                condition=Q(areas__contained_by=["eye", "lip", "baby"]),
                name="product_areas_known",
            ),
            models.CheckConstraint(
                condition=Q(overfill_percent__gte=0, overfill_percent__lte=100),
                name="product_overfill_plausible",
            ),
            models.CheckConstraint(
                condition=Q(
                    minutes_per_batch__gte=0,
                    minutes_per_batch__lt=FINITE,
                    minutes_per_unit__gte=0,
                    minutes_per_unit__lt=FINITE,
                    hourly_rate__gte=0,
                    hourly_rate__lt=FINITE,
                    overhead_per_batch__gte=0,
                    overhead_per_batch__lt=FINITE,
                    overhead_percent__gte=0,
                    overhead_percent__lt=100000,
                ),
                name="product_policy_not_negative",
            ),
        )

    def __str__(self) -> str:
        return self.name


class Packaging(MakerRow):
    """What one unit of a product is packed in: so many pieces of a counted material."""

    product = link(Product, related_name="packaging")
    position = models.PositiveSmallIntegerField()
    material = link("ledger.Material")
    entered = models.CharField(max_length=64)
    quantity = quantity()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "product", "position"], name="packaging_once"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, quantity__lt=FINITE), name="packaging_above_zero"
            ),
        )
