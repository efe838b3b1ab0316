"""What may stand in for a line, what did in a batch, and what was picked anew for it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from formulas.models.batches import Batch, BatchLine, BatchPackaging
from formulas.models.formulas import Line, percent_field
from ledger.models.base import FINITE, MakerRow, link, quantity


class Alternate(MakerRow):
    """A material that may stand in for a line, in its turn; kept with the version for good.

    With `active_percent` it is matched by active matter against the line's own, else one to one.
    """

    line = link(Line, related_name="alternates")
    position = models.PositiveSmallIntegerField()
    material = link("ledger.Material")
    active_percent = percent_field(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "line", "position"], name="alternate_in_turn"),
            models.UniqueConstraint(fields=["coop", "line", "material"], name="alternate_once"),
            models.CheckConstraint(
                condition=Q(active_percent__isnull=True)
                | Q(active_percent__gt=0, active_percent__lte=100),
                name="alternate_active_within_100",
            ),
        )


class TopUp(MakerRow):
    """A line of a batch split: the rest of a lot is used up, and another material or lot makes up.

    `lot` is what is poured first of `own_material`; `other_lot`, where one was named, of
    `material`. The percents are those of the formula version, None one to one. What the lines want
    since is kept as changes.
    """

    batch = link(Batch, related_name="top_ups")
    line = link(BatchLine)
    own_material = link("ledger.Material")
    lot = link("ledger.Lot", null=True)
    material = link("ledger.Material")
    other_lot = link("ledger.Lot", null=True)
    kept_grams = quantity()
    replaced_grams = quantity()
    other_grams = quantity()
    own_percent = percent_field(null=True)
    other_percent = percent_field(null=True)
    cautions = models.JSONField(default=list)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(kept_grams__gte=0, kept_grams__lt=FINITE)
                & Q(replaced_grams__gt=0, replaced_grams__lt=FINITE)
                & Q(other_grams__gt=0, other_grams__lt=FINITE),
                name="top_up_above_zero",
            ),
            models.CheckConstraint(
                condition=Q(own_percent__isnull=True, other_percent__isnull=True)
                | Q(own_percent__gt=0, own_percent__lte=100)
                & Q(other_percent__gt=0, other_percent__lte=100),
                name="top_up_active_within_100",
            ),
        )
        indexes = (models.Index(fields=["coop", "batch"], name="top_up_by_batch"),)


class LineChange(MakerRow):
    """So many grams more, or below zero fewer, that a line wants of a material since a top-up."""

    batch = link(Batch, related_name="changes")
    top_up = link(TopUp)
    line = link(BatchLine)
    material = link("ledger.Material")
    grams = quantity()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=~Q(grams=0) & Q(grams__gt=-FINITE, grams__lt=FINITE),
                name="line_change_is_a_number",
            ),
        )
        indexes = (models.Index(fields=["coop", "batch"], name="line_change_by_batch"),)


class Picking(MakerRow):
    """A batch's lots chosen anew for what it still needs; the latest one counts."""

    batch = link(Batch, related_name="pickings")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = (models.Index(fields=["coop", "batch"], name="picking_by_batch"),)


class Lack(MakerRow):
    """What no usable lot had when the lots were chosen anew, for a line or for packaging."""

    picking = link(Picking, related_name="lacks")
    line = link(BatchLine, null=True)
    packaging = link(BatchPackaging, null=True)
    material = link("ledger.Material")
    quantity = quantity()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(line__isnull=True, packaging__isnull=False)
                | Q(line__isnull=False, packaging__isnull=True),
                name="lack_for_line_or_packaging",
            ),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, quantity__lt=FINITE), name="lack_above_zero"
            ),
        )
        indexes = (models.Index(fields=["coop", "picking"], name="lack_by_picking"),)
