"""What suppliers offer: packs, prices by day, price breaks, and the terms of a whole order.

A row without a maker is opened to the whole co-op; with one it is that maker's own. Rows are only
added: a new price is a new row with its day, and what holds on a day is found by reading.
"""

from typing import Any, Final

from django.conf import settings
from django.db import models
from django.db.models import Q

from ledger.models.base import FINITE, CoopRow, celsius, density, link, money, quantity
from ledger.offer_prices import FreightKind

# Days that a supplier may need, or that goods may keep: a century.
MOST_DAYS: Final = 36_500


def written_by() -> "models.ForeignKey[Any, Any]":
    return models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )


def rate_of_the_day(**options: Any) -> "models.DecimalField[Any, Any]":
    """How much of the co-op's currency one of the other currency costs."""
    return models.DecimalField(max_digits=18, decimal_places=9, **options)


def in_both(amount: str, own: str) -> Q:
    """Both amounts are there or none is, and neither is below zero."""
    return Q(**{f"{amount}__isnull": True, f"{own}__isnull": True}) | Q(
        **{f"{amount}__gte": 0, f"{amount}__lt": FINITE, f"{own}__gte": 0, f"{own}__lt": FINITE}
    )


class Offer(CoopRow):
    """A supplier's pack of a material, under its article code. What it costs is in its prices."""

    maker = link("ledger.Maker", null=True)
    supplier = link("ledger.Supplier")
    material = link("ledger.Material")
    article_code = models.CharField(max_length=80, blank=True)
    entered = models.CharField(max_length=64)
    quantity = quantity()
    density = density()
    density_at = celsius()
    density_entered = models.CharField(max_length=64, blank=True)
    density_of = models.CharField(max_length=8, blank=True, help_text="offer or material")
    person = written_by()
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "maker", "supplier", "material", "article_code", "quantity"],
                nulls_distinct=False,
                name="offer_once",
            ),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, quantity__lt=FINITE), name="offer_pack_positive"
            ),
        )
        indexes = (
            models.Index(fields=["coop", "material"], name="offer_by_material"),
            models.Index(fields=["coop", "supplier"], name="offer_by_supplier"),
        )


class OfferPrice(CoopRow):
    """From a day on, what a pack costs; without a price it is not offered any more from that day.

    Of two rows for one day the later written holds: it is the correction.
    """

    maker = link("ledger.Maker", null=True)
    offer = link(Offer, related_name="prices")
    valid_from = models.DateField()
    price = money(null=True)
    currency = models.CharField(max_length=3, blank=True)
    rate = rate_of_the_day(null=True)
    own_price = money(null=True, help_text="In the co-op's currency.")
    least_packs = models.PositiveIntegerField(default=1)
    lead_time_days = models.PositiveIntegerField(null=True)
    shelf_life_days = models.PositiveIntegerField(null=True)
    note = models.CharField(max_length=400, blank=True)
    person = written_by()
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(price__isnull=True, own_price__isnull=True, rate__isnull=True)
                | Q(price__gt=0, price__lt=FINITE, own_price__gt=0, own_price__lt=FINITE)
                & Q(rate__gt=0, rate__lt=FINITE)
                & ~Q(currency=""),
                name="offer_price_positive",
            ),
            models.CheckConstraint(
                condition=Q(least_packs__gte=1)
                & (Q(lead_time_days__isnull=True) | Q(lead_time_days__lte=MOST_DAYS))
                & (
                    Q(shelf_life_days__isnull=True)
                    | Q(shelf_life_days__gte=1, shelf_life_days__lte=MOST_DAYS)
                ),
                name="offer_price_terms_plausible",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "offer", "valid_from", "id"], name="offer_price_by_day"),
            models.Index(fields=["coop", "valid_from"], name="offer_price_of_late"),
        )


class OfferBreak(CoopRow):
    """From so much in one order on, every pack of the order costs this (all units)."""

    maker = link("ledger.Maker", null=True)
    offer_price = link(OfferPrice, related_name="breaks")
    position = models.PositiveSmallIntegerField()
    entered = models.CharField(max_length=64)
    quantity = quantity()
    price = money()
    own_price = money(help_text="In the co-op's currency.")

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "offer_price", "position"], name="offer_break_once"
            ),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, quantity__lt=FINITE)
                & Q(price__gt=0, price__lt=FINITE, own_price__gt=0, own_price__lt=FINITE),
                name="offer_break_positive",
            ),
        )


class SupplierTerms(CoopRow):
    """From a day on, what holds for a whole order to a supplier: its minimum, and its freight."""

    maker = link("ledger.Maker", null=True)
    supplier = link("ledger.Supplier")
    valid_from = models.DateField()
    currency = models.CharField(max_length=3)
    rate = rate_of_the_day()
    minimum = money(null=True, help_text="Goods that an order must come to.")
    own_minimum = money(null=True)
    freight_kind = models.CharField(max_length=4, choices=[(k.value, k.value) for k in FreightKind])
    freight = money(null=True, help_text="Of an order, or of its kilogram.")
    own_freight = money(null=True)
    free_from = money(null=True, help_text="Goods from which on freight is free.")
    own_free_from = money(null=True)
    lead_time_days = models.PositiveIntegerField(null=True)
    note = models.CharField(max_length=400, blank=True)
    person = written_by()
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(rate__gt=0, rate__lt=FINITE)
                & in_both("minimum", "own_minimum")
                & in_both("freight", "own_freight")
                & in_both("free_from", "own_free_from"),
                name="supplier_terms_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(freight_kind="none", freight__isnull=True, free_from__isnull=True)
                | Q(freight_kind__in=["flat", "mass"], freight__isnull=False),
                name="supplier_terms_freight_has_amount",
            ),
            models.CheckConstraint(
                condition=Q(lead_time_days__isnull=True) | Q(lead_time_days__lte=MOST_DAYS),
                name="supplier_terms_lead_time_plausible",
            ),
        )
        indexes = (
            models.Index(
                fields=["coop", "supplier", "valid_from", "id"], name="supplier_terms_by_day"
            ),
        )
