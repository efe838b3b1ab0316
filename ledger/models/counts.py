"""Counts: the sheet, its lines, what was read each time, and how differences were explained."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from ledger.models.base import FINITE, MakerRow, link, money, quantity


def _percent() -> "models.DecimalField[Any, Any]":
    return models.DecimalField(max_digits=7, decimal_places=4, null=True)


class CountSheet(MakerRow):
    """Lots to count, of a place or of a class; `blind` hides the book figures until read."""

    class State(models.TextChoices):
        OPEN = "open"
        CLOSED = "closed"
        DROPPED = "dropped"

    place = models.CharField(max_length=120, blank=True)
    blind = models.BooleanField(default=False)
    tolerance_percent = _percent()
    state = models.CharField(max_length=7, choices=State.choices, default=State.OPEN)
    reason = models.CharField(max_length=400, blank=True, help_text="Why it was dropped.")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    opened_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False, null=True
    )

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(tolerance_percent__isnull=True)
                | Q(tolerance_percent__gte=0, tolerance_percent__lte=100),
                name="count_tolerance_in_percent",
            ),
            models.CheckConstraint(
                condition=Q(state="open", ended_at__isnull=True)
                | ~Q(state="open") & Q(ended_at__isnull=False),
                name="count_sheet_state_known",
            ),
        )
        indexes = (models.Index(fields=["coop", "maker", "id"], name="count_sheet_by_maker"),)


class CountLine(MakerRow):
    """One lot on a sheet, with its latest reading and the book figure of that moment."""

    sheet = link(CountSheet, related_name="lines")
    lot = link("ledger.Lot")
    material = link("ledger.Material")
    position = models.PositiveIntegerField()
    abc_class = models.CharField(max_length=1)
    tolerance_percent = models.DecimalField(max_digits=7, decimal_places=4)
    is_open = models.BooleanField(default=True)
    readings = models.PositiveSmallIntegerField(default=0)
    counted = quantity(null=True)
    book = quantity(null=True)
    tolerance = quantity(null=True)
    counted_at = models.DateTimeField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "sheet", "lot"], name="count_line_once"),
            models.UniqueConstraint(
                fields=["coop", "maker", "lot"],
                condition=Q(is_open=True),
                name="lot_on_one_open_sheet",
            ),
            models.CheckConstraint(
                condition=Q(counted__isnull=True)
                | Q(counted__gte=0, counted__lt=FINITE, tolerance__gte=0, tolerance__lt=FINITE),
                name="count_line_not_negative",
            ),
        )
        indexes = (
            models.Index(
                fields=["coop", "maker", "material", "counted_at"],
                condition=Q(counted_at__isnull=False),
                name="count_line_by_material",
            ),
        )

    @property
    def difference(self) -> Decimal | None:
        """Counted less book; below zero is missing."""
        if self.counted is None or self.book is None:
            return None
        missing: Decimal = self.counted - self.book
        return missing

    @property
    def moment(self) -> datetime:
        """When it was last read; only for a line that was."""
        if self.counted_at is None:
            raise ValueError("This line has not been read.")
        read_at: datetime = self.counted_at
        return read_at

    @property
    def outside(self) -> bool:
        """Whether the latest reading lies further from the books than is tolerated."""
        difference = self.difference
        return (
            difference is not None
            and self.tolerance is not None
            and abs(difference) > self.tolerance
        )

    @property
    def asks(self) -> str:
        """What the line still needs: "reading", "recount", "explanation", or nothing."""
        if not self.is_open:
            return ""
        if self.counted is None:
            return "reading"
        if self.outside:
            return "recount" if self.readings < 2 else "explanation"
        return ""


class CountReading(MakerRow):
    """One reading of a line: what the scale said with and without its container, or pieces."""

    line = link(CountLine)
    number = models.PositiveSmallIntegerField()
    entered = models.JSONField()
    gross = quantity(null=True)
    tare = quantity(null=True)
    book = quantity()
    tolerance = quantity()
    quantity = quantity()
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "line", "number"], name="count_reading_once"),
            models.CheckConstraint(
                condition=Q(quantity__gte=0, quantity__lt=FINITE)
                & (Q(gross__isnull=True) | Q(quantity=F("gross") - F("tare"))),
                name="count_net_is_gross_less_tare",
            ),
        )


class CountCause(MakerRow):
    """Part of a line's difference, why, and the entry that followed; below zero left the store."""

    class Cause(models.TextChoices):
        MISBOOKED = "misbooked"
        SPILL = "spill"
        EVAPORATION = "evaporation"
        SHRINK = "shrink"
        FOUND = "found"

    line = link(CountLine, related_name="causes")
    cause = models.CharField(max_length=11, choices=Cause.choices)
    reason = models.CharField(max_length=400)
    entered = models.CharField(max_length=140, blank=True)
    quantity = quantity()
    value = money()
    account = link("ledger.Account")
    entry = link("ledger.Entry")

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=~Q(quantity=0)
                & Q(quantity__gt=-FINITE, quantity__lt=FINITE, value__gte=0, value__lt=FINITE),
                name="count_cause_is_a_number",
            ),
            models.CheckConstraint(
                condition=Q(cause="misbooked")
                | Q(cause="found", quantity__gt=0)
                | Q(cause__in=["spill", "evaporation", "shrink"], quantity__lt=0),
                name="count_cause_has_its_direction",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "line"], name="count_cause_by_line"),
            models.Index(fields=["coop", "account"], name="count_cause_by_account"),
        )
