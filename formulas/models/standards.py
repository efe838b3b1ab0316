"""Standard costs: what a formula version or a product should cost, from a day on."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from formulas.models.formulas import FormulaVersion
from formulas.models.products import Product, policy_percent
from ledger.models.base import FINITE, MakerRow, link, money, quantity


class StandardCost(MakerRow):
    """The standard of a formula version, or of a product, from a day on; kept for good.

    That of a version is of its materials. That of a product is of the packaging of a unit, of
    labour and of overhead, which only a product has. Of two from the same day the later one counts.
    """

    version = link(FormulaVersion, null=True)
    product = link(Product, null=True)
    valid_from = models.DateField()
    minutes_per_batch = quantity(default=0)
    minutes_per_unit = quantity(default=0)
    hourly_rate = money(default=0)
    overhead_per_batch = money(default=0)
    overhead_percent = policy_percent()
    note = models.CharField(max_length=400, blank=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(version__isnull=True, product__isnull=False)
                | Q(
                    version__isnull=False,
                    product__isnull=True,
                    minutes_per_batch=0,
                    minutes_per_unit=0,
                    hourly_rate=0,
                    overhead_per_batch=0,
                    overhead_percent=0,
                ),
                name="standard_of_version_or_product",
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
                name="standard_policy_not_negative",
            ),
        )
        indexes = (
            models.Index(
                fields=["coop", "version", "valid_from"],
                condition=Q(version__isnull=False),
                name="standard_by_version",
            ),
            models.Index(
                fields=["coop", "product", "valid_from"],
                condition=Q(product__isnull=False),
                name="standard_by_product",
            ),
        )


class StandardPrice(MakerRow):
    """What one material takes and costs by a standard.

    `share` is percent of what is weighed in, zero for what only stands in for a line; of a
    product, pieces in one unit. `price` is of a kilogram, or of a piece of packaging.
    """

    class Basis(models.TextChoices):
        GIVEN = "given"
        STORE = "store"
        LAST_RECEIPT = "last_receipt"
        STATED = "stated"
        ROLLED_UP = "rolled_up"

    standard = link(StandardCost, related_name="prices")
    position = models.PositiveSmallIntegerField()
    material = link("ledger.Material")
    share = quantity()
    price = money()
    basis = models.CharField(max_length=12, choices=Basis.choices)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "standard", "material"], name="standard_price_once"
            ),
            models.CheckConstraint(
                condition=Q(share__gte=0, share__lt=FINITE, price__gte=0, price__lt=FINITE),
                name="standard_price_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(basis__in=["given", "store", "last_receipt", "stated", "rolled_up"]),
                name="standard_basis_known",
            ),
        )
