"""Bills and credit notes that came after their delivery, and on what they fell.

Rows are added, never changed; a bill counts as long as its entry is not reversed.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q

from ledger.models.base import FINITE, MakerRow, link, money, quantity
from ledger.models.entries import Entry
from ledger.models.receipts import Receipt, ReceiptLine
from ledger.models.stock import Account


class Bill(MakerRow):
    """A late charge, a corrected price or a credit note; `amount` below zero lowers the cost."""

    class Kind(models.TextChoices):
        LATE_CHARGE = "late_charge"
        PRICE_CORRECTION = "price_correction"
        CREDIT_NOTE = "credit_note"

    receipt = link(Receipt, related_name="bills")
    entry = link(Entry)
    supplier = link("ledger.Supplier")
    kind = models.CharField(max_length=16, choices=Kind.choices)
    charge_kind = models.CharField(max_length=8, blank=True)
    amount = money()
    spread_by = models.CharField(max_length=5, help_text="mass or value; line for a single lot")
    reference = models.CharField(max_length=80, blank=True)
    reason = models.CharField(max_length=400, blank=True)
    happened_at = models.DateTimeField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "entry"], name="bill_by_entry"),
            models.CheckConstraint(
                condition=~Q(amount=0)
                & Q(amount__gt=-FINITE, amount__lt=FINITE)
                & (~Q(kind="late_charge") | Q(amount__gt=0))
                & (~Q(kind="credit_note") | Q(amount__lt=0)),
                name="bill_raises_or_lowers",
            ),
        )
        indexes = (models.Index(fields=["coop", "receipt"], name="bill_by_receipt"),)


class BillLine(MakerRow):
    """What of a bill falls on one lot: on what was left of it, and on what had been used."""

    bill = link(Bill, related_name="lines")
    line = link(ReceiptLine)
    amount = money()
    left = quantity(help_text="Of the delivery, what was still in store.")
    to_stock = money()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "bill", "line"], name="bill_line_once"),
            models.CheckConstraint(
                condition=Q(left__gte=0, left__lt=FINITE, amount__lt=FINITE, to_stock__lt=FINITE),
                name="bill_line_is_a_number",
            ),
        )
        indexes = (models.Index(fields=["coop", "line"], name="bill_line_by_line"),)


class BillUse(MakerRow):
    """What of a bill falls on one use of a lot: a batch, a sale, an issue.

    `account` is where the goods went, and `entry` the making or filling that drew them straight
    from the store. Without an account nobody knows which use it was.
    """

    line = link(BillLine, related_name="uses")
    account = link(Account, null=True)
    entry = link(Entry, null=True)
    quantity = quantity()
    amount = money()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(quantity__gte=0, quantity__lt=FINITE, amount__lt=FINITE),
                name="bill_use_is_a_number",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "line"], name="bill_use_by_line"),
            models.Index(fields=["coop", "account"], name="bill_use_by_account"),
            models.Index(
                fields=["coop", "entry"], condition=Q(entry__isnull=False), name="bill_use_by_entry"
            ),
        )
