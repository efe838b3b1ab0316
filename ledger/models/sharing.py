"""Lots opened to the co-op, who claims some of them, and what makers owe each other for it."""

from django.conf import settings
from django.db import models

from ledger.models.base import FINITE, CoopRow, MakerRow, link, money, quantity
from ledger.models.entries import Entry
from ledger.models.stock import Lot
from ledger.models.transfers import Transfer


class Share(CoopRow):
    """So much of a lot that its holder (`giver`) opens to every maker of the co-op.

    The price is what the goods cost the giver, so much percent more, or so much a kilogram (for
    what is counted: a piece). A row is closed and never changed otherwise.
    """

    class Terms(models.TextChoices):
        COST = "cost"
        COST_PLUS = "cost_plus"
        PRICE = "price"

    giver = link("ledger.Maker")
    lot = link(Lot)
    material = link("ledger.Material")
    entered = models.CharField(max_length=64)
    quantity = quantity()
    terms = models.CharField(max_length=9, choices=Terms.choices)
    percent = models.DecimalField(max_digits=9, decimal_places=4, null=True)
    price = money(null=True, help_text="Of a kilogram, or of a piece.")
    accepts_itself = models.BooleanField(help_text="A claim is accepted as it comes.")
    note = models.CharField(max_length=400, blank=True)
    happened_at = models.DateTimeField(help_text="The goods may move from this moment on.")
    closes_at = models.DateTimeField(null=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    opened_at = models.DateTimeField(auto_now_add=True)
    closed_at = models.DateTimeField(null=True)
    closed_why = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(quantity__gt=0, quantity__lt=FINITE), name="share_of_something"
            ),
            models.CheckConstraint(
                condition=models.Q(terms="cost", percent__isnull=True, price__isnull=True)
                | models.Q(terms="cost_plus", percent__gte=0, price__isnull=True)
                & models.Q(percent__lte=1000)
                | models.Q(terms="price", percent__isnull=True, price__gte=0, price__lt=FINITE),
                name="share_has_one_price",
            ),
        )
        indexes = (models.Index(fields=["coop", "lot"], name="share_by_lot"),)


class Claim(MakerRow):
    """So much of a share, claimed by a maker; the giver (`to_maker`) sees the row as well.

    Its answer is written by the ledger's own functions; one that is accepted has its move.
    """

    class State(models.TextChoices):
        OPEN = "open"
        ACCEPTED = "accepted"
        DECLINED = "declined"
        WITHDRAWN = "withdrawn"

    to_maker = link("ledger.Maker")
    share = link(Share)
    entered = models.CharField(max_length=64)
    quantity = quantity()
    keeps_status = models.BooleanField(help_text="What the giver released arrives released.")
    note = models.CharField(max_length=400, blank=True)
    expires_at = models.DateTimeField(null=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    claimed_at = models.DateTimeField(auto_now_add=True)
    state = models.CharField(max_length=9, choices=State.choices, default=State.OPEN)
    answered_at = models.DateTimeField(null=True)
    reason = models.CharField(max_length=400, blank=True)
    transfer = link(Transfer, null=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(quantity__gt=0, quantity__lt=FINITE), name="claim_of_something"
            ),
            models.CheckConstraint(
                condition=~models.Q(maker=models.F("to_maker")), name="claim_of_another"
            ),
            models.CheckConstraint(
                condition=models.Q(state="accepted", transfer__isnull=False)
                | ~models.Q(state="accepted") & models.Q(transfer__isnull=True),
                name="claim_accepted_moves",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "share"], name="claim_by_share"),
            models.Index(fields=["coop", "to_maker"], name="claim_by_giver"),
        )


class Movement(MakerRow):
    """One change of what two makers owe each other: `maker` is owed so much more by `to_maker`.

    Both see the row. Goods given, money paid and a later bill for the goods are such changes; each
    stands in the books of both, in accounts of the kind settlement, whose sum these rows always
    are.
    """

    class Kind(models.TextChoices):
        GOODS = "goods"
        PAYMENT = "payment"
        CLEARING = "clearing"
        BILL = "bill"

    to_maker = link("ledger.Maker")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    amount = money()
    happened_at = models.DateTimeField()
    happened_on = models.DateField()
    recorded_at = models.DateTimeField()
    note = models.CharField(max_length=400, blank=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    transfer = link(Transfer, null=True)
    reverses = link("self", null=True)
    entry = link(Entry)
    to_entry = link(Entry)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "reverses"], name="movement_reversed_once"),
            models.CheckConstraint(
                condition=models.Q(amount__gt=0, amount__lt=FINITE),
                name="movement_of_something",
            ),
            models.CheckConstraint(
                condition=~models.Q(maker=models.F("to_maker")), name="movement_between_two"
            ),
        )
        indexes = (
            models.Index(fields=["coop", "maker", "to_maker"], name="movement_by_maker"),
            models.Index(fields=["coop", "to_maker", "maker"], name="movement_by_other"),
        )
