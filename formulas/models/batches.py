"""Planned batches: the lines to weigh, the lots to pour from, and what is short."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from formulas.models.formulas import Formula, FormulaVersion, percent_field
from formulas.models.products import Product
from ledger.models.base import FINITE, MakerRow, celsius, link, quantity


class Batch(MakerRow):
    """One making of a formula version, of a product or of bulk; `account` holds what goes in.

    `making` is the finish that stands, and `cancel_entry` what ended it otherwise; undoing either
    makes the batch planned again.
    """

    class State(models.TextChoices):
        PLANNED = "planned"
        FINISHED = "finished"
        CANCELLED = "cancelled"
        SCRAPPED = "scrapped"

    code = models.CharField(max_length=20)
    account = link("ledger.Account")
    version = link(FormulaVersion)
    product = link(Product, null=True)
    units = models.PositiveIntegerField(null=True)
    fill_grams = quantity(null=True)
    state = models.CharField(max_length=9, choices=State.choices, default=State.PLANNED)
    planned_for = models.DateField()
    asked_for = models.CharField(max_length=64, help_text="As typed: a batch, an output, units.")
    batch_grams = quantity()
    output_grams = quantity()
    making = link("formulas.Making", null=True)
    cancel_entry = link("ledger.Entry", null=True)
    note = models.CharField(max_length=200, blank=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name_plural = "batches"
        constraints = (
            models.UniqueConstraint(fields=["coop", "code"], name="batch_code_once"),
            models.UniqueConstraint(fields=["coop", "account"], name="batch_account_once"),
            models.CheckConstraint(
                condition=Q(state="planned", making__isnull=True, cancel_entry__isnull=True)
                | Q(state="finished", making__isnull=False, cancel_entry__isnull=True)
                | Q(state="cancelled", making__isnull=True)
                | Q(state="scrapped", making__isnull=True, cancel_entry__isnull=False),
                name="batch_state_known",
            ),
            models.CheckConstraint(
                condition=Q(
                    batch_grams__gt=0,
                    batch_grams__lt=FINITE,
                    output_grams__gt=0,
                    output_grams__lt=FINITE,
                ),
                name="batch_above_zero",
            ),
            models.CheckConstraint(
                condition=Q(product__isnull=True, units__isnull=True, fill_grams__isnull=True)
                | Q(product__isnull=False, units__gt=0, fill_grams__gt=0, fill_grams__lt=FINITE),
                name="batch_units_of_a_product",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "maker", "id"], name="batch_by_maker"),
            models.Index(fields=["coop", "version"], name="batch_by_version"),
            models.Index(
                fields=["coop", "product"],
                condition=Q(product__isnull=False),
                name="batch_by_product",
            ),
        )

    def __str__(self) -> str:
        return self.code


class BatchLine(MakerRow):
    """One line to weigh; `material` is what is poured, also where the formula names another one."""

    batch = link(Batch, related_name="lines")
    position = models.PositiveSmallIntegerField()
    phase = models.CharField(max_length=80, blank=True)
    kind = models.CharField(max_length=9)
    material = link("ledger.Material")
    component = link(Formula, null=True)
    percent = percent_field()
    max_percent = percent_field(null=True)
    max_celsius = celsius()
    spent = models.BooleanField(default=False)
    grams = quantity()
    short = quantity(default=0, help_text="What no usable lot had when the batch was planned.")

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "batch", "position"], name="batch_line_once"),
            models.CheckConstraint(
                condition=Q(grams__gte=0, grams__lt=FINITE, short__gte=0, short__lt=FINITE),
                name="batch_line_not_negative",
            ),
        )


class BatchPackaging(MakerRow):
    """Packaging of a batch: pieces for one unit, as the product had it when it was planned."""

    batch = link(Batch, related_name="packaging")
    position = models.PositiveSmallIntegerField()
    material = link("ledger.Material")
    per_unit = quantity()
    short = quantity(default=0)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "batch", "position"], name="batch_packaging_once"
            ),
            models.CheckConstraint(
                condition=Q(per_unit__gt=0, per_unit__lt=FINITE, short__gte=0, short__lt=FINITE),
                name="batch_packaging_above_zero",
            ),
        )


class Pick(MakerRow):
    """A lot to pour from, for a line or for packaging, as chosen at planning or in a `picking`."""

    batch = link(Batch, related_name="picks")
    line = link(BatchLine, related_name="picks", null=True)
    packaging = link(BatchPackaging, related_name="picks", null=True)
    picking = link("formulas.Picking", null=True)
    position = models.PositiveSmallIntegerField()
    lot = link("ledger.Lot")
    quantity = quantity()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(line__isnull=True, packaging__isnull=False)
                | Q(line__isnull=False, packaging__isnull=True),
                name="pick_for_line_or_packaging",
            ),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, quantity__lt=FINITE), name="pick_above_zero"
            ),
        )
        indexes = (models.Index(fields=["coop", "batch"], name="pick_by_batch"),)
