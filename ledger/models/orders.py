"""Orders from suppliers: what was written, and the dated facts that came after. Only added.

What of a line is still to come is kept beside them (`OnOrder`) by triggers, so that a position
needs to read no history.
"""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Case, F, Q, Value, When
from django.db.models.functions import Greatest

from ledger.models.base import FINITE, MakerRow, celsius, density, link, money, quantity


class PurchaseOrder(MakerRow):
    """An order as it was written, to one supplier."""

    number = models.CharField(max_length=20)
    supplier = link("ledger.Supplier")
    written_at = models.DateTimeField()
    note = models.CharField(max_length=400, blank=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "number"], name="order_number_once"),
        )
        indexes = (models.Index(fields=["coop", "maker", "supplier"], name="order_by_supplier"),)


class PurchaseOrderLine(MakerRow):
    """So many packs of a material for an agreed price: `quantity` and `price` are of all packs."""

    order = link(PurchaseOrder, related_name="lines")
    position = models.PositiveSmallIntegerField()
    material = link("ledger.Material")
    packs = models.PositiveIntegerField()
    entered = models.CharField(max_length=64, help_text="One pack, as it was typed.")
    quantity = quantity()
    density = density()
    density_at = celsius()
    density_of = models.CharField(max_length=8, blank=True)
    price = money()
    expected_on = models.DateField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "order", "position"], name="order_line_once"),
            models.CheckConstraint(
                condition=Q(packs__gt=0, quantity__gt=0, quantity__lt=FINITE),
                name="order_line_of_something",
            ),
            models.CheckConstraint(
                condition=Q(price__gte=0, price__lt=FINITE), name="order_line_price_not_negative"
            ),
        )
        indexes = (
            models.Index(fields=["coop", "maker", "material"], name="order_line_by_material"),
        )


class PurchaseOrderFact(MakerRow):
    """What was done about an order later, on its day; of one line, or of all without one.

    `sending` is that somebody asked to mail it, and `sent` (`of` that) that the mail was handed
    over; `corrected` carries the line as it holds from then on; `ended` is that nothing more is
    expected.
    """

    class Kind(models.TextChoices):
        SENDING = "sending"
        SENT = "sent"
        CORRECTED = "corrected"
        ENDED = "ended"

    order = link(PurchaseOrder, related_name="facts")
    kind = models.CharField(max_length=9, choices=Kind.choices)
    line = link(PurchaseOrderLine, null=True)
    of = link("self", null=True)
    happened_at = models.DateTimeField()
    reason = models.CharField(max_length=400, blank=True)
    address = models.CharField(max_length=254, blank=True, help_text="Where the mail goes.")
    packs = models.PositiveIntegerField(null=True)
    entered = models.CharField(max_length=64, blank=True)
    quantity = quantity(null=True)
    density = density()
    density_at = celsius()
    density_of = models.CharField(max_length=8, blank=True)
    price = money(null=True)
    expected_on = models.DateField(null=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "of"], condition=Q(of__isnull=False), name="order_sent_once"
            ),
            models.CheckConstraint(
                condition=Q(kind="sending", line__isnull=True, of__isnull=True) & ~Q(address="")
                | Q(kind="sent", line__isnull=True, of__isnull=False) & ~Q(address="")
                | Q(kind="ended", of__isnull=True) & ~Q(reason="")
                | Q(
                    kind="corrected",
                    line__isnull=False,
                    of__isnull=True,
                    packs__isnull=False,
                    quantity__isnull=False,
                    price__isnull=False,
                    packs__gt=0,
                    quantity__gt=0,
                    quantity__lt=FINITE,
                    price__gte=0,
                    price__lt=FINITE,
                )
                & ~Q(reason=""),
                name="order_fact_is_whole",
            ),
        )
        indexes = (models.Index(fields=["coop", "order"], name="order_fact_by_order"),)


class OnOrder(models.Model):
    """How a line of an order stands. Written by triggers alone.

    `quantity` is what is still to come: what was ordered, as corrected, less what was received and
    not undone; nothing once it has ended.
    """

    pk = models.CompositePrimaryKey("coop_id", "maker_id", "line_id")
    coop = link("ledger.Coop")
    maker = link("ledger.Maker")
    line = link(PurchaseOrderLine)
    order = link(PurchaseOrder, related_name="standing")
    material = link("ledger.Material")
    ordered = quantity()
    received = quantity(default=Decimal(0))
    price = money()
    expected_on = models.DateField(null=True)
    ended = models.BooleanField(default=False)
    quantity = models.GeneratedField(
        expression=Case(
            When(ended=True, then=Value(Decimal(0))),
            default=Greatest(F("ordered") - F("received"), Value(Decimal(0))),
        ),
        output_field=quantity(),
        db_persist=True,
    )
    any_left = models.GeneratedField(
        expression=Q(ended=False) & Q(ordered__gt=F("received")),  # type: ignore[arg-type]
        output_field=models.BooleanField(),
        db_persist=True,
    )

    class Meta:
        verbose_name_plural = "on order"
        indexes = (
            models.Index(
                fields=["coop", "maker", "material"],
                condition=Q(any_left=True),
                name="on_order_by_material",
            ),
            models.Index(fields=["coop", "order"], name="on_order_by_order"),
        )
