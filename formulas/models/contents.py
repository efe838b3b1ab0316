"""Net contents: what containers hold, the rule of each product, and weighed units."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from formulas.models.formulas import percent_field
from formulas.models.making import Filling, Making
from formulas.models.products import Product
from ledger.models.base import FINITE, MakerRow, celsius, density, link, quantity


def millilitres() -> "models.DecimalField[Decimal | None, Decimal | None]":
    """A capacity, where it is known."""
    return quantity(null=True)


class Container(MakerRow):
    """What a packaging material holds, in millilitres; `version` is the ETag.

    The means and leasts are of the latest water fills to the brim and to the fill level.
    `usable_ml` is the least that may be filled: measured, or else the brim less the headspace.
    """

    class Level(models.TextChoices):
        BRIMFUL = "brimful"
        USABLE = "usable"

    material = link("ledger.Material")
    version = models.PositiveIntegerField(default=1)
    nominal_entered = models.CharField(max_length=64)
    nominal_ml = quantity()
    headspace_percent = percent_field(default=0)
    brimful_mean = millilitres()
    brimful_least = millilitres()
    usable_mean = millilitres()
    usable_least = millilitres()
    usable_ml = millilitres()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "maker", "material"], name="container_once"),
            models.CheckConstraint(
                condition=Q(
                    nominal_ml__gt=0,
                    nominal_ml__lt=FINITE,
                    headspace_percent__gte=0,
                    headspace_percent__lt=100,
                ),
                name="container_above_zero",
            ),
            models.CheckConstraint(
                condition=Q(usable_mean__isnull=True)
                | Q(brimful_mean__isnull=True)
                | Q(usable_mean__lte=models.F("brimful_mean")),
                name="container_usable_below_brim",
            ),
        )


class WaterFilling(MakerRow):
    """Pieces of a container filled with water to one level and weighed; the latest counts."""

    container = link(Container, related_name="water_fillings")
    level = models.CharField(max_length=7, choices=Container.Level.choices)
    celsius = celsius()
    temperature_entered = models.CharField(max_length=32)
    pieces = models.JSONField(help_text="Gross and tare in grams, millilitres, of each piece.")
    mean_ml = quantity()
    least_ml = quantity()
    most_ml = quantity()
    happened_at = models.DateTimeField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(level__in=["brimful", "usable"]), name="water_filling_level_known"
            ),
            models.CheckConstraint(
                condition=Q(least_ml__gt=0, most_ml__lt=FINITE, least_ml__lte=models.F("most_ml")),
                name="water_filling_above_zero",
            ),
        )
        indexes = (models.Index(fields=["coop", "container"], name="water_filling_by_container"),)


class NetContents(MakerRow):
    """The rule that a product's contents follow, and the maker's own reading of what it allows.

    `allowed` is in the unit of the product's fill, grams or millilitres.
    """

    product = link(Product)
    version = models.PositiveIntegerField(default=1)
    rule = models.CharField(max_length=2, choices=[("us", "us"), ("eu", "eu")])
    allowed_entered = models.CharField(max_length=64, blank=True)
    allowed = quantity(null=True)

    class Meta:
        verbose_name_plural = "net contents"
        constraints = (
            models.UniqueConstraint(fields=["coop", "product"], name="net_contents_once"),
            models.CheckConstraint(condition=Q(rule__in=["us", "eu"]), name="net_contents_known"),
            models.CheckConstraint(
                condition=Q(allowed__isnull=True) | Q(allowed__gt=0, allowed__lt=FINITE),
                name="net_contents_allowed_above_zero",
            ),
        )


class UnitWeighing(MakerRow):
    """Units of one filled lot weighed: net grams of each, and the rule as it was then.

    `allowed_grams` is what the rule then let a unit lack; the units were filled by a fill or
    finished with a batch.
    """

    product = link(Product)
    lot = link("ledger.Lot")
    filling = link(Filling, null=True)
    making = link(Making, null=True)
    lot_units = models.PositiveIntegerField()
    units = models.PositiveIntegerField()
    contents = models.JSONField(help_text="Net grams, with gross and tare where they were weighed.")
    mean_grams = quantity()
    deviation_grams = quantity(null=True)
    least_grams = quantity()
    nominal_grams = quantity()
    density = density()
    density_at = celsius()
    density_of = models.CharField(max_length=8, blank=True)
    rule = models.CharField(max_length=2, blank=True)
    allowed_grams = quantity(null=True)
    allowed_by = models.CharField(max_length=200, blank=True)
    happened_at = models.DateTimeField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(filling__isnull=True, making__isnull=False)
                | Q(filling__isnull=False, making__isnull=True),
                name="unit_weighing_of_fill_or_batch",
            ),
            models.CheckConstraint(
                condition=Q(units__gt=0, units__lte=models.F("lot_units"))
                & Q(least_grams__gt=0, mean_grams__gte=models.F("least_grams"))
                & Q(mean_grams__lt=FINITE, nominal_grams__gt=0, nominal_grams__lt=FINITE),
                name="unit_weighing_plausible",
            ),
            models.CheckConstraint(
                condition=Q(rule="", allowed_grams__isnull=True)
                | Q(rule__in=["us", "eu"], allowed_grams__gt=0, allowed_grams__lt=FINITE),
                name="unit_weighing_by_rule",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "lot"], name="unit_weighing_by_lot"),
            models.Index(fields=["coop", "product"], name="unit_weighing_by_product"),
        )
