"""Formulas, their versions, and the lines of a version. A version is written once."""

from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from ledger.models.base import FINITE, MakerRow, celsius, density, link, quantity


def percent_field(**options: Any) -> "models.DecimalField[Any, Any]":
    """Percent by mass (% w/w), 0 to 100."""
    return models.DecimalField(max_digits=9, decimal_places=6, **options)


class Formula(MakerRow):
    """A recipe by name; `version` is the number of the one in force, and its ETag.

    `material` is what it makes, the maker's own: the bulk that is filled, or an intermediate
    that other formulas use.
    """

    name = models.CharField(max_length=120)
    material = link("ledger.Material")
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "material"], name="formula_makes_its_own"),
        )

    def __str__(self) -> str:
        return self.name


class FormulaVersion(MakerRow):
    """One state of a formula, never changed: a batch made from it stays readable for ever.

    With a `retention` (grams of liquid kept per gram of spent solid) it is an infusion, whose
    process loss follows from it, from the spent lines and from the evaporation. `note` says why it
    was written.
    """

    formula = link(Formula, related_name="versions")
    number = models.PositiveIntegerField()
    process_loss_percent = percent_field(default=0)
    rework_max_percent = percent_field(null=True)
    retention = quantity(null=True)
    evaporation_percent = percent_field(null=True)
    density = density()
    density_at = celsius()
    density_entered = models.CharField(max_length=64, blank=True)
    shelf_life_days = models.PositiveIntegerField(null=True)
    note = models.CharField(max_length=400, blank=True, default="", db_default="")
    fill_within_days = models.PositiveIntegerField(null=True, help_text="Of making the bulk.")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "formula", "number"], name="formula_version_once"
            ),
            models.CheckConstraint(
                condition=Q(process_loss_percent__gte=0, process_loss_percent__lt=100),
                name="formula_loss_below_100",
            ),
            models.CheckConstraint(
                condition=Q(rework_max_percent__isnull=True)
                | Q(rework_max_percent__gte=0, rework_max_percent__lte=100),
                name="formula_rework_at_most_100",
            ),
            models.CheckConstraint(
                condition=Q(retention__isnull=True, evaporation_percent__isnull=True)
                | Q(
                    retention__gte=0,
                    retention__lte=100,
                    evaporation_percent__gte=0,
                    evaporation_percent__lt=100,
                ),
                name="formula_infusion_plausible",
            ),
            models.CheckConstraint(
                condition=Q(density__isnull=True) | Q(density__gt=0, density__lt=30),
                name="formula_density_plausible",
            ),
            models.CheckConstraint(
                condition=Q(fill_within_days__isnull=True)
                | Q(fill_within_days__gte=1, fill_within_days__lte=3650),
                name="formula_fill_within_plausible",
            ),
        )

    def __str__(self) -> str:
        return f"{self.formula} version {self.number}"


class Phase(MakerRow):
    """Lines that are added together."""

    version = link(FormulaVersion, related_name="phases")
    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "version", "position"], name="phase_once"),
        )


class Line(MakerRow):
    """So many percent of a material, or of a formula used as an intermediate.

    The balance line has the percent that the others leave; a to-effect line its typical one. What
    is spent is strained out of an infusion again.
    """

    class Kind(models.TextChoices):
        FIXED = "fixed"
        BALANCE = "balance"
        TO_EFFECT = "to_effect"

    version = link(FormulaVersion, related_name="lines")
    phase = link(Phase, related_name="lines")
    position = models.PositiveSmallIntegerField(help_text="Counted through all phases.")
    kind = models.CharField(max_length=9, choices=Kind.choices)
    material = link("ledger.Material", null=True)
    component = link(Formula, null=True)
    percent = percent_field()
    max_percent = percent_field(null=True)
    max_celsius = celsius()
    active_percent = percent_field(null=True)
    spent = models.BooleanField(default=False)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "version", "position"], name="line_once"),
            models.CheckConstraint(
                condition=Q(max_celsius__isnull=True)
                | Q(max_celsius__gte=Decimal("-273.15"), max_celsius__lte=1000),
                name="line_temperature_plausible",
            ),
            models.CheckConstraint(
                condition=Q(active_percent__isnull=True)
                | Q(active_percent__gt=0, active_percent__lte=100),
                name="line_active_within_100",
            ),
            models.UniqueConstraint(
                fields=["coop", "version"],
                condition=Q(kind="balance"),
                name="formula_one_balance",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["fixed", "balance", "to_effect"]), name="line_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(material__isnull=True, component__isnull=False)
                | Q(material__isnull=False, component__isnull=True),
                name="line_of_material_or_formula",
            ),
            models.CheckConstraint(
                condition=Q(percent__gt=0, percent__lte=100), name="line_percent_within_100"
            ),
            models.CheckConstraint(
                condition=Q(max_percent__isnull=True) & ~Q(kind="to_effect")
                | Q(kind="to_effect", max_percent__gte=F("percent"), max_percent__lte=100),
                name="line_maximum_to_effect",
            ),
        )
        indexes = (
            models.Index(
                fields=["coop", "maker", "component"],
                condition=Q(component__isnull=False),
                name="line_by_component",
            ),
        )


class Window(MakerRow):
    """What a version wants of one measure: a target, a low limit and a high one, all inside.

    In degC, mPa.s or s; pH has no unit. How it should look is said in words, in `text`.
    """

    version = link(FormulaVersion, related_name="windows")
    measure = models.CharField(max_length=11)
    target = quantity(null=True)
    low = quantity(null=True)
    high = quantity(null=True)
    text = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "version", "measure"], name="window_once"),
            models.CheckConstraint(
                condition=Q(
                    measure="appearance",
                    target__isnull=True,
                    low__isnull=True,
                    high__isnull=True,
                )
                & ~Q(text="")
                | Q(measure__in=["ph", "temperature", "viscosity", "flow_time"], text="")
                & (Q(target__isnull=False) | Q(low__isnull=False) | Q(high__isnull=False)),
                name="window_of_numbers_or_words",
            ),
            models.CheckConstraint(
                condition=(Q(target__isnull=True) | Q(target__lt=FINITE))
                & (Q(low__isnull=True) | Q(low__lt=FINITE))
                & (Q(high__isnull=True) | Q(high__lt=FINITE)),
                name="window_is_finite",
            ),
            models.CheckConstraint(
                condition=(Q(low__isnull=True) | Q(target__isnull=True) | Q(low__lte=F("target")))
                & (Q(target__isnull=True) | Q(high__isnull=True) | Q(target__lte=F("high")))
                & (Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=F("high"))),
                name="window_in_order",
            ),
        )
