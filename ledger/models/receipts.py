"""Deliveries and their landed cost."""

from django.db import models

from ledger.models.base import MakerRow, celsius, density, link, money, quantity
from ledger.models.entries import Entry
from ledger.models.stock import Lot


class Receipt(MakerRow):
    """One delivery from one supplier."""

    entry = link(Entry)
    supplier = link("ledger.Supplier")
    order = link("ledger.PurchaseOrder", null=True)
    happened_at = models.DateTimeField()
    reference = models.CharField(max_length=80, blank=True)
    condition = models.CharField(max_length=200, blank=True, help_text="As it arrived.")
    total = money()


class ReceiptLine(MakerRow):
    """One lot of a delivery: what was typed, what came of it, what it cost on the shelf."""

    receipt = link(Receipt, related_name="lines")
    position = models.PositiveSmallIntegerField()
    lot = link(Lot)
    order_line = link("ledger.PurchaseOrderLine", null=True, related_name="receipt_lines")
    entered = models.CharField(max_length=64)
    quantity = quantity()
    density = density()
    density_at = celsius()
    density_of = models.CharField(max_length=8, blank=True, help_text="lot or material")
    goods = money()
    landed_cost = money()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "receipt", "position"], name="receipt_line_once"
            ),
        )
        indexes = (
            models.Index(fields=["coop", "lot"], name="receipt_line_by_lot"),
            models.Index(
                fields=["coop", "order_line"],
                condition=models.Q(order_line__isnull=False),
                name="receipt_line_by_order",
            ),
        )


class ReceiptCharge(MakerRow):
    """Freight, duty, tax that is not recovered, or another cost of the delivery."""

    receipt = link(Receipt, related_name="charges")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8)
    amount = money()
    spread_by = models.CharField(max_length=5)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "receipt", "position"], name="receipt_charge_once"
            ),
        )


class ChargeShare(MakerRow):
    """A line's share of a charge, exact to the minor unit."""

    line = link(ReceiptLine, related_name="shares")
    charge = link(ReceiptCharge, related_name="shares")
    amount = money()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "line", "charge"], name="charge_share_once"),
        )
