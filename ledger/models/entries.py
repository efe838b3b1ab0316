"""The ledger itself: entries and their postings. Rows are added, never changed."""

from django.conf import settings
from django.db import models

from ledger.models.base import FINITE, MakerRow, link, money, quantity
from ledger.models.stock import Account, Layer, Lot


class Entry(MakerRow):
    """One event: when it took place, when we heard, who told us."""

    class Kind(models.TextChoices):
        OPENING = "opening"
        RECEIPT = "receipt"
        DRAW = "draw"
        WEIGH_BACK = "weigh_back"
        MAKE = "make"
        FILL = "fill"
        CANCEL = "cancel"
        SALE = "sale"
        CUSTOMER_RETURN = "customer_return"
        SUPPLIER_RETURN = "supplier_return"
        ISSUE = "issue"
        REVERSAL = "reversal"
        COST_FORMULA = "cost_formula"
        COUNT = "count"
        SCRAP = "scrap"
        EMPTY = "empty"
        LATE_CHARGE = "late_charge"
        PRICE_CORRECTION = "price_correction"
        CREDIT_NOTE = "credit_note"
        CONSIGN = "consign"
        UNCONSIGN = "unconsign"
        TRANSFER_OUT = "transfer_out"
        TRANSFER_IN = "transfer_in"
        PAYMENT = "payment"
        CLEARING = "clearing"
        DECANT = "decant"
        DEPOSIT = "deposit"
        DEPOSIT_RETURN = "deposit_return"
        SHARED_BILL = "shared_bill"

    kind = models.CharField(max_length=16, choices=Kind.choices)
    happened_at = models.DateTimeField()
    happened_on = models.DateField(help_text="The day of happened_at where the co-op is.")
    recorded_at = models.DateTimeField()
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    reason = models.CharField(max_length=400, blank=True)
    deviation = models.CharField(max_length=400, blank=True)
    details = models.JSONField(default=dict)
    reverses = link("self", null=True)

    class Meta:
        verbose_name_plural = "entries"
        constraints = (
            models.UniqueConstraint(fields=["coop", "reverses"], name="entry_reversed_once"),
            models.CheckConstraint(
                condition=models.Q(reverses__isnull=True) | ~models.Q(reason=""),
                name="entry_reversal_has_reason",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "maker", "kind", "id"], name="entry_by_kind"),
            models.Index(
                fields=["coop", "maker", "id"],
                condition=~models.Q(deviation=""),
                name="entry_deviating",
            ),
        )


class Posting(models.Model):
    """One line of an entry: account, lot, quantity, value. Without a lot it moves value only."""

    pk = models.CompositePrimaryKey("coop_id", "entry_id", "line")
    coop = link("ledger.Coop")
    entry = link(Entry)
    line = models.SmallIntegerField()
    maker = link("ledger.Maker")
    account = link(Account)
    lot = link(Lot, null=True)
    quantity = quantity()
    value = money()
    happened_on = models.DateField()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(quantity__lt=FINITE, value__lt=FINITE),
                name="posting_is_a_number",
            ),
            models.CheckConstraint(
                condition=models.Q(lot__isnull=False) | models.Q(quantity=0),
                name="posting_without_lot_moves_value_only",
            ),
        )
        indexes = (
            models.Index(
                fields=["coop", "lot", "account", "happened_on"], name="posting_by_holding"
            ),
        )


class LayerPosting(models.Model):
    """What a posting's line gave to or took from a cost layer."""

    pk = models.CompositePrimaryKey("coop_id", "entry_id", "line", "layer_id")
    coop = link("ledger.Coop")
    entry = link(Entry)
    line = models.SmallIntegerField()
    layer = link(Layer)
    maker = link("ledger.Maker")
    quantity = quantity()
    value = money()

    class Meta:
        indexes = (models.Index(fields=["coop", "layer"], name="layer_posting_by_layer"),)
