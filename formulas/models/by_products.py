"""By-products: what came out of a batch beside what it was made for."""

from django.db import models
from django.db.models import Q

from formulas.models.making import Making
from ledger.models.base import FINITE, MakerRow, link, money, quantity


class ByProduct(MakerRow):
    """A lot that came out beside the main one, at its net realisable value (`nrv`, of all of it).

    It counts as long as the making does.
    """

    making = link(Making, related_name="by_products")
    position = models.PositiveSmallIntegerField()
    lot = link("ledger.Lot")
    entered = models.CharField(max_length=64)
    grams = quantity()
    nrv = money()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "making", "position"], name="by_product_once"),
            models.CheckConstraint(
                condition=Q(grams__gt=0, grams__lt=FINITE, nrv__gte=0, nrv__lt=FINITE),
                name="by_product_above_zero",
            ),
        )
        indexes = (models.Index(fields=["coop", "lot"], name="by_product_by_lot"),)
