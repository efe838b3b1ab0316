"""What is bought and made, and from whom."""

from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.db import models

from ledger.models.base import CoopRow, MakerRow, celsius, density, link, money, quantity


class CostFormula(models.TextChoices):
    """Which cost leaves with the goods (IAS 2.23-27)."""

    LOT = "lot"
    FIFO = "fifo"
    AVERAGE = "average"


# What a material does in a formula (the usual functions of the trade).
FUNCTIONS = ["acid", "base", "botanical", "chelant", "emollient", "emulsifier", "fragrance"]
FUNCTIONS += ["humectant", "other", "preservative", "solvent", "surfactant", "thickener"]
# For how many days at most something is said to be good once it is open.
MOST_DAYS_OPEN = 3650
# What asks for care with a material.
CAUTIONS = ["lye", "water", "preservative", "fragrance", "essential_oil", "botanical", "powder"]
CAUTIONS += ["solvent", "nut", "milk", "wheat"]


class Material(CoopRow):
    """Something bought or made, measured by mass or by count.

    What is bought belongs to the co-op. What a maker makes, from a formula or as a product, is
    the maker's own and is hidden from the others: its name alone would give a formula away.
    """

    class MeasuredBy(models.TextChoices):
        MASS = "mass"
        COUNT = "count"

    class DeclaredAs(models.TextChoices):
        """How a label names it; absent is what does not stay in the product."""

        INGREDIENT = "ingredient"
        COLOURANT = "colourant"
        ABSENT = "absent"

    maker = link("ledger.Maker", null=True)
    name = models.CharField(max_length=200)
    inci_name = models.CharField(max_length=200, blank=True)
    cas_number = models.CharField(max_length=20, blank=True)
    measured_by = models.CharField(max_length=5, choices=MeasuredBy.choices)
    cost_class = models.CharField(max_length=60, default="material")
    # Null and not empty: nothing is said, so the maker's own choice or moving average holds.
    cost_formula = models.CharField(  # noqa: DJ001
        max_length=7, choices=CostFormula.choices, null=True
    )
    density = density()
    density_at = celsius()
    density_entered = models.CharField(max_length=64, blank=True)
    stocked = models.BooleanField(default=True)
    cost_per_kg = money(null=True)
    cost_source = models.CharField(max_length=200, blank=True)
    shelf_life_days = models.PositiveIntegerField(null=True)
    use_within_days = models.PositiveSmallIntegerField(
        null=True, help_text="Days for which it is good once it is open."
    )
    mass_each = quantity(null=True)
    declared_as = models.CharField(
        max_length=10, choices=DeclaredAs.choices, default=DeclaredAs.INGREDIENT
    )
    function = models.CharField(max_length=20, blank=True, help_text="Its work in a formula.")
    # Null and not empty: nothing is known, which is not the same as bringing nothing.
    brings = models.CharField(  # noqa: DJ001
        max_length=120, null=True, help_text="What it carries beside its active matter, in words."
    )
    # What asks for care, and the range that its certificate gives for a category of product.
    cautions = ArrayField(models.CharField(max_length=20), default=list)
    min_percent = models.DecimalField(max_digits=9, decimal_places=6, null=True)
    max_percent = models.DecimalField(max_digits=9, decimal_places=6, null=True)
    certificate_category = models.CharField(max_length=120, blank=True)
    certificate_until = models.DateField(null=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(cautions__contained_by=CAUTIONS), name="material_cautions_known"
            ),
            models.CheckConstraint(
                condition=(
                    models.Q(min_percent__isnull=True)
                    | models.Q(min_percent__gte=0, min_percent__lte=100)
                )
                & (
                    models.Q(max_percent__isnull=True)
                    | models.Q(max_percent__gt=0, max_percent__lte=100)
                )
                & (
                    models.Q(min_percent__isnull=True)
                    | models.Q(max_percent__isnull=True)
                    | models.Q(min_percent__lte=models.F("max_percent"))
                ),
                name="material_percents_in_order",
            ),
            models.CheckConstraint(
                condition=models.Q(use_within_days__isnull=True)
                | models.Q(use_within_days__gte=1, use_within_days__lte=MOST_DAYS_OPEN),
                name="material_use_within_days_known",
            ),
            models.CheckConstraint(
                condition=models.Q(use_within_days__isnull=True)
                | models.Q(stocked=True) & ~models.Q(measured_by="count"),
                name="material_use_within_days_once_open",
            ),
            models.CheckConstraint(
                condition=models.Q(function__in=["", *FUNCTIONS]), name="material_function_known"
            ),
            models.CheckConstraint(
                condition=models.Q(declared_as__in=["ingredient", "colourant", "absent"]),
                name="material_declared_as_known",
            ),
            models.CheckConstraint(
                condition=models.Q(density__isnull=True) | models.Q(density__gt=0, density__lt=30),
                name="material_density_plausible",
            ),
            models.CheckConstraint(
                condition=models.Q(mass_each__isnull=True) | models.Q(mass_each__gt=0),
                name="material_mass_each_positive",
            ),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def counted(self) -> bool:
        return self.measured_by == self.MeasuredBy.COUNT


class MaterialPart(CoopRow):
    """What a material is made of, by INCI name, or an allergen in it; percent by mass.

    A blend's parts make 100 %; allergens are those of its certificate, and make what they make.
    Seen by whoever sees the material.
    """

    class Kind(models.TextChoices):
        PART = "part"
        ALLERGEN = "allergen"

    maker = link("ledger.Maker", null=True)
    material = link(Material, related_name="parts")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    position = models.PositiveSmallIntegerField()
    inci_name = models.CharField(max_length=200)
    percent: "models.DecimalField[Any, Any]" = models.DecimalField(max_digits=9, decimal_places=6)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "material", "kind", "position"], name="material_part_once"
            ),
            models.CheckConstraint(
                condition=models.Q(percent__gt=0, percent__lte=100)
                & ~models.Q(inci_name="")
                & models.Q(kind__in=["part", "allergen"]),
                name="material_part_within_100",
            ),
        )


# How and where a product is used, as far as a certificate tells such products apart.
USED_AS = ["leave_on", "rinse_off", "eye", "lip", "baby"]


class MaterialMaximum(CoopRow):
    """The most of a material that its certificate allows in one kind of product, in percent by
    mass; `category` is how the certificate calls the kind. Seen by whoever sees the material.
    """

    maker = link("ledger.Maker", null=True)
    material = link(Material, related_name="maxima")
    kind = models.CharField(max_length=9)
    max_percent: "models.DecimalField[Any, Any]" = models.DecimalField(
        max_digits=9, decimal_places=6
    )
    category = models.CharField(max_length=120, blank=True)

    class Meta:
        verbose_name_plural = "material maxima"
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "material", "kind"], name="material_maximum_once"
            ),
            models.CheckConstraint(
                condition=models.Q(max_percent__gt=0, max_percent__lte=100, kind__in=USED_AS),
                name="material_maximum_within_100",
            ),
        )


class Supplier(CoopRow):
    """Who the co-op buys from; orders are mailed to `mail`."""

    name = models.CharField(max_length=200)
    contact_name = models.CharField(max_length=200, blank=True)
    mail = models.CharField(max_length=254, blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name


class CostPolicy(MakerRow):
    """A maker's cost formula for one class of material (IAS 2.25: one formula a class)."""

    cost_class = models.CharField(max_length=60)
    cost_formula = models.CharField(max_length=7, choices=CostFormula.choices)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "maker", "cost_class"], name="cost_policy_once"
            ),
        )
