"""Drums decanted into smaller lots, and deposits on what goods came in."""

from datetime import datetime

from django.conf import settings
from django.db import models

from ledger.models.base import FINITE, MakerRow, link, money, quantity
from ledger.models.entries import Entry
from ledger.models.stock import Lot
from ledger.models.transfers import Transfer


class Decanting(MakerRow):
    """Measured draws from one lot, each a lot of its own.

    `heel` is what stayed behind, where all was taken; `cost` is carried by what was drawn.
    """

    lot = link(Lot)
    entry = link(Entry)
    happened_at = models.DateTimeField()
    drawn = quantity()
    heel = quantity()
    cost = money()
    note = models.CharField(max_length=400, blank=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(drawn__gt=0, drawn__lt=FINITE, heel__gte=0, heel__lt=FINITE),
                name="decanting_of_something",
            ),
        )
        indexes = (models.Index(fields=["coop", "lot"], name="decanting_by_lot"),)


class DecantingDraw(MakerRow):
    """One draw: what was read off the scale, the lot it became, its share of the cost.

    Without `gross` and `tare` the net was read itself. What was drawn for another maker is offered
    to it (`transfer`) at this share.
    """

    decanting = link(Decanting, related_name="draws")
    position = models.PositiveSmallIntegerField()
    lot = link(Lot)
    entered = models.CharField(max_length=160)
    gross = quantity(null=True)
    tare = quantity(null=True)
    quantity = quantity()
    share = money()
    transfer = link(Transfer, null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "decanting", "position"], name="decanting_draw_once"
            ),
            models.CheckConstraint(
                condition=models.Q(quantity__gt=0, quantity__lt=FINITE, share__gte=0)
                & models.Q(share__lt=FINITE),
                name="decanting_draw_of_something",
            ),
            models.CheckConstraint(
                condition=models.Q(gross__isnull=True, tare__isnull=True)
                | models.Q(tare__gte=0, gross=models.F("quantity") + models.F("tare")),
                name="decanting_draw_is_gross_less_tare",
            ),
        )


class Deposit(MakerRow):
    """Money that a supplier gives back for a drum or a crate: owed to the maker, never a cost."""

    supplier = link("ledger.Supplier")
    lot = link(Lot, null=True)
    amount = money()
    note = models.CharField(max_length=400, blank=True)
    happened_at = models.DateTimeField()
    entry = link(Entry)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(amount__gt=0, amount__lt=FINITE), name="deposit_of_something"
            ),
        )

    @property
    def returned_at(self) -> datetime | None:
        """When it came back, or None while the supplier owes it."""
        return next((back.happened_at for back in self.returns.all()), None)

    @property
    def returned_note(self) -> str:
        """What was noted as it came back."""
        return next((back.note for back in self.returns.all()), "")


class DepositReturn(MakerRow):
    """A deposit that came back, once and whole."""

    deposit = link(Deposit, related_name="returns")
    note = models.CharField(max_length=400, blank=True)
    happened_at = models.DateTimeField()
    entry = link(Entry)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "deposit"], name="deposit_returned_once"),
        )
