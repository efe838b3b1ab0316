"""Joint products: what one batch made at once, and what each carries of the common cost."""

from django.db import models
from django.db.models import Q

from formulas.models.making import Making
from ledger.models.base import FINITE, MakerRow, link, money, quantity


class JointProduct(MakerRow):
    """One of the products of a batch; the one at position 0 is what the batch was made for.

    `sales_value` is what all of it fetches and `further_cost` what completing and selling it costs,
    where the base asks for them; `value` is its part of the joint cost. It counts as long as the
    making does.
    """

    making = link(Making, related_name="joint_products")
    position = models.PositiveSmallIntegerField()
    lot = link("ledger.Lot")
    entered = models.CharField(max_length=64)
    grams = quantity()
    sales_value = money(null=True)
    further_cost = money(default=0)
    value = money()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "making", "position"], name="joint_product_once"
            ),
            models.CheckConstraint(
                condition=Q(
                    grams__gt=0,
                    grams__lt=FINITE,
                    further_cost__gte=0,
                    further_cost__lt=FINITE,
                    value__gte=0,
                    value__lt=FINITE,
                )
                & (Q(sales_value__isnull=True) | Q(sales_value__gt=0, sales_value__lt=FINITE)),
                name="joint_product_above_zero",
            ),
        )
        indexes = (models.Index(fields=["coop", "lot"], name="joint_product_by_lot"),)
