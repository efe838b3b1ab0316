"""What was done with a batch: weighings, finishing, filling. Rows are added, never changed.

A row counts as long as its entry is not reversed.
"""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from formulas.joint_costs import JointBase
from formulas.models.batches import Batch, BatchLine
from formulas.models.formulas import percent_field
from formulas.models.products import Product, policy_percent
from ledger.models.base import FINITE, MakerRow, celsius, density, link, money, quantity


class Weighing(MakerRow):
    """So many grams of a lot into a batch; below zero is weighed back out of it.

    Without a line it is an addition that the formula does not list. `deviation` says why a rule
    was not kept, and `overrode` which; that an older lot stood waiting is noted without a reason
    too.
    """

    batch = link(Batch, related_name="weighings")
    line = link(BatchLine, related_name="weighings", null=True)
    lot = link("ledger.Lot")
    entered = models.CharField(max_length=64)
    quantity = quantity()
    density = density()
    density_at = celsius()
    density_of = models.CharField(max_length=8, blank=True, help_text="lot or material")
    entry = link("ledger.Entry")
    deviation = models.CharField(max_length=400, blank=True)
    overrode = models.JSONField(default=list)
    happened_at = models.DateTimeField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "entry"], name="weighing_by_entry"),
            models.CheckConstraint(
                condition=~Q(quantity=0) & Q(quantity__gt=-FINITE, quantity__lt=FINITE),
                name="weighing_is_a_number",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "batch"], name="weighing_by_batch"),
            models.Index(
                fields=["coop", "maker", "entry"],
                condition=Q(line__isnull=True, quantity__gt=0),
                name="weighing_addition",
            ),
            models.Index(
                fields=["coop", "maker", "entry"],
                condition=Q(overrode__contains=["newer_lot"]),
                name="weighing_newer_lot",
            ),
        )


class SecondLook(MakerRow):
    """Another person has looked at a weighing: lot, scale and figure."""

    weighing = link(Weighing, related_name="second_looks")
    note = models.CharField(max_length=400, blank=True)
    looked_at = models.DateTimeField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "weighing"], name="second_look_once"),
        )


class Making(MakerRow):
    """A batch finished: what came out and what it cost, exact to six decimals.

    `output_grams` and `units` include the samples. What went in is `materials`, `packaging`,
    `labour` and `overhead`; `abnormal` of it was expensed. The loss is that of the formula
    version, and the policy for labour and overhead that of the product as it was at the finish.
    `labour_minutes` are what it really took, where that was said; they stand before the policy's.
    `label_version` is the label that its units got.
    Of an infusion, `spent_grams` is the solid that went in, and `marc_grams` what was weighed of it
    when it came out, if it was. By-products of `by_product_grams` took `by_product_value` with
    them. Of a batch that made several products at once, `joint_base` is by what their cost was
    split, and those beside the main one, `joint_grams` of them, carry `joint_value` of it.
    """

    batch = link(Batch, related_name="makings")
    entry = link("ledger.Entry")
    samples_entry = link("ledger.Entry", null=True)
    lot = link("ledger.Lot")
    happened_at = models.DateTimeField()
    entered = models.CharField(max_length=64)
    output_grams = quantity()
    units = models.PositiveIntegerField(null=True)
    weighed_grams = quantity()
    declared_grams = quantity(default=0)
    declared_reason = models.CharField(max_length=400, blank=True)
    by_product_grams = quantity(default=0)
    by_product_value = money(default=0)
    joint_base = models.CharField(max_length=24, blank=True)
    joint_grams = quantity(default=0)
    joint_value = money(default=0)
    spent_grams = quantity(null=True)
    marc_grams = quantity(null=True)
    process_loss_percent = percent_field()
    minutes_per_batch = quantity(default=0)
    minutes_per_unit = quantity(default=0)
    hourly_rate = money(default=0)
    labour_minutes = quantity(null=True)
    label_version = models.CharField(max_length=60, blank=True)
    overhead_per_batch = money(default=0)
    overhead_percent = policy_percent()
    materials = money()
    packaging = money()
    labour = money()
    overhead = money()
    abnormal = money()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "entry"], name="making_by_entry"),
            models.CheckConstraint(
                condition=Q(
                    output_grams__gt=0,
                    output_grams__lt=FINITE,
                    weighed_grams__gt=0,
                    weighed_grams__lt=FINITE,
                    declared_grams__gte=0,
                    declared_grams__lt=FINITE,
                ),
                name="making_above_zero",
            ),
            models.CheckConstraint(
                condition=Q(labour_minutes__isnull=True)
                | Q(labour_minutes__gte=0, labour_minutes__lt=FINITE),
                name="making_labour_not_negative",
            ),
            models.CheckConstraint(
                condition=(Q(spent_grams__isnull=True, marc_grams__isnull=True))
                | Q(spent_grams__gte=0, spent_grams__lte=models.F("weighed_grams"))
                & (Q(marc_grams__isnull=True) | Q(marc_grams__gt=0, marc_grams__lt=FINITE)),
                name="making_marc_of_spent",
            ),
            models.CheckConstraint(
                condition=Q(
                    by_product_grams__gte=0,
                    by_product_grams__lt=FINITE,
                    by_product_value__gte=0,
                    by_product_value__lte=models.F("materials")
                    + models.F("labour")
                    + models.F("overhead"),
                ),
                name="making_by_products_within_cost",
            ),
            models.CheckConstraint(
                condition=Q(joint_base="", joint_grams=0, joint_value=0)
                | Q(
                    joint_base__in=[base.value for base in JointBase],
                    joint_grams__gt=0,
                    joint_grams__lt=FINITE,
                    joint_value__gte=0,
                    joint_value__lte=models.F("materials")
                    + models.F("labour")
                    + models.F("overhead")
                    - models.F("by_product_value"),
                ),
                name="making_joint_within_cost",
            ),
            models.CheckConstraint(
                condition=Q(
                    materials__gte=0,
                    materials__lt=FINITE,
                    packaging__gte=0,
                    packaging__lt=FINITE,
                    labour__gte=0,
                    labour__lt=FINITE,
                    overhead__gte=0,
                    overhead__lt=FINITE,
                    abnormal__gte=0,
                    abnormal__lt=FINITE,
                ),
                name="making_cost_not_negative",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "batch"], name="making_by_batch"),
            models.Index(fields=["coop", "lot"], name="making_by_lot"),
        )

    @property
    def beside_grams(self) -> Decimal:
        """All that came out beside the main product."""
        grams: Decimal = self.by_product_grams + self.joint_grams
        return grams


class Filling(MakerRow):
    """Bulk filled into units of a product: what was used, what it cost, exact to six decimals.

    `nominal_grams` is what the units should hold, and the policy for labour that of the product,
    both as they were then. `deviation` says why a rule was not kept, and `overrode` which.

    Of what was used, `heel_grams` stayed in the filler, a normal loss that `bulk` carries;
    `reject_grams` (with the packaging of `reject_units`) went to loss for `rejected`. `mean_grams`
    is what a unit held by whoever filled them, where it was said, and `density` the one at which it
    was filled, where that was another than the lot's. `label_version` is the label that it got.
    """

    product = link(Product)
    bulk_lot = link("ledger.Lot")
    lot = link("ledger.Lot")
    entry = link("ledger.Entry")
    samples_entry = link("ledger.Entry", null=True)
    happened_at = models.DateTimeField()
    entered = models.CharField(max_length=64)
    used_grams = quantity()
    nominal_grams = quantity(null=True)
    units = models.PositiveIntegerField()
    sample_units = models.PositiveIntegerField(default=0)
    mean_grams = quantity(null=True)
    density = density()
    density_at = celsius()
    label_version = models.CharField(max_length=60, blank=True)
    heel_grams = quantity(default=0)
    heel_reason = models.CharField(max_length=400, blank=True)
    reject_grams = quantity(default=0)
    reject_units = models.PositiveIntegerField(default=0)
    rejects = models.JSONField(default=list)
    rejected = money(default=0)
    minutes_per_unit = quantity(default=0)
    hourly_rate = money(default=0)
    bulk = money()
    packaging = money()
    labour = money()
    deviation = models.CharField(max_length=400, blank=True)
    overrode = models.JSONField(default=list)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "entry"], name="filling_by_entry"),
            models.CheckConstraint(
                condition=Q(used_grams__gt=0, used_grams__lt=FINITE, units__gt=0),
                name="filling_above_zero",
            ),
            models.CheckConstraint(
                condition=Q(
                    heel_grams__gte=0,
                    reject_grams__gte=0,
                    rejected__gte=0,
                    rejected__lt=FINITE,
                    sample_units__lte=models.F("units"),
                    used_grams__gt=models.F("heel_grams") + models.F("reject_grams"),
                ),
                name="filling_leaves_something",
            ),
            models.CheckConstraint(
                condition=Q(density__isnull=True) | Q(density__gt=0, density__lt=30),
                name="filling_density_plausible",
            ),
        )
        indexes = (models.Index(fields=["coop", "lot"], name="filling_by_lot"),)
