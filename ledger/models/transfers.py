"""Goods that one maker offers to another, and what became of the offer."""

from django.conf import settings
from django.db import models

from ledger.models.base import FINITE, MakerRow, link, money, quantity
from ledger.models.entries import Entry
from ledger.models.stock import Lot


class Transfer(MakerRow):
    """So much of a lot, offered by its holder (`maker`) to another maker, who alone may accept it.

    Both see the row. The offer is only added; its answer is written by the ledger's own functions.
    Without a `price` the goods move at what they cost in the giver's books, and so much `percent`
    more where that is agreed. What is given back `answers` the move that brought it, at the price
    at which it came.
    """

    class State(models.TextChoices):
        OPEN = "open"
        ACCEPTED = "accepted"
        DECLINED = "declined"
        WITHDRAWN = "withdrawn"

    to_maker = link("ledger.Maker")
    lot = link(Lot)
    material = link("ledger.Material")
    entered = models.CharField(max_length=64)
    quantity = quantity()
    price = money(null=True)
    percent = models.DecimalField(max_digits=9, decimal_places=4, null=True)
    in_kind = models.BooleanField(
        default=False, db_default=False, help_text="Owed in goods, and not in money."
    )
    answers = link("self", null=True)
    note = models.CharField(max_length=400, blank=True)
    happened_at = models.DateTimeField(help_text="The goods may move from this moment on.")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    offered_at = models.DateTimeField(auto_now_add=True)
    state = models.CharField(max_length=9, choices=State.choices, default=State.OPEN)
    answered_at = models.DateTimeField(null=True)
    reason = models.CharField(max_length=400, blank=True)
    amount = money(null=True)
    out_entry = link(Entry, null=True)
    in_entry = link(Entry, null=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(quantity__gt=0, quantity__lt=FINITE),
                name="transfer_of_something",
            ),
            models.CheckConstraint(
                condition=models.Q(price__isnull=True) | models.Q(price__gte=0, price__lt=FINITE),
                name="transfer_price_not_negative",
            ),
            models.CheckConstraint(
                condition=~models.Q(maker=models.F("to_maker")), name="transfer_to_another"
            ),
            models.CheckConstraint(
                condition=models.Q(state="accepted")
                & models.Q(in_entry__isnull=False, out_entry__isnull=False, amount__gte=0)
                | ~models.Q(state="accepted")
                & models.Q(in_entry__isnull=True, out_entry__isnull=True, amount__isnull=True),
                name="transfer_accepted_moves",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "maker", "lot"], name="transfer_by_lot"),
            models.Index(fields=["coop", "to_maker"], name="transfer_by_receiver"),
            models.Index(
                fields=["coop", "answers"],
                condition=models.Q(answers__isnull=False),
                name="transfer_by_answered",
            ),
        )
