"""What is known of a lot's quality: specifications, test results, retests. Rows are only added."""

from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from ledger.models.base import MakerRow, link
from ledger.models.catalogue import MOST_DAYS_OPEN
from ledger.models.stock import Decision, Lot


def _person(*, null: bool = False) -> "models.ForeignKey[Any, Any]":
    return models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False, null=null
    )


def _figure() -> "models.DecimalField[Any, Any]":
    return models.DecimalField(max_digits=18, decimal_places=6, null=True)


class Specification(MakerRow):
    """What a maker asks of a material, as a numbered version; the latest is in force."""

    material = link("ledger.Material")
    number = models.PositiveIntegerField()
    reason = models.CharField(max_length=400, blank=True)
    person = _person()
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "maker", "material", "number"], name="specification_numbered_once"
            ),
        )


class SpecificationLimit(MakerRow):
    """One property and its limits; the limits themselves still agree. Or a text to agree with."""

    specification = link(Specification, related_name="limits")
    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80)
    low = _figure()
    high = _figure()
    unit = models.CharField(max_length=32, blank=True)
    text = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(text="")
                & (Q(low__isnull=False) | Q(high__isnull=False))
                & (Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=F("high")))
                | ~Q(text="") & Q(low__isnull=True, high__isnull=True),
                name="specification_limit_says_something",
            ),
        )
        indexes = (models.Index(fields=["coop", "specification"], name="limit_by_specification"),)


class LotResult(MakerRow):
    """What a test of a lot found, against the limit in force; `inside` is null without a limit."""

    lot = link(Lot)
    name = models.CharField(max_length=80)
    value = _figure()
    text = models.CharField(max_length=200, blank=True)
    unit = models.CharField(max_length=32, blank=True)
    limit = link(SpecificationLimit, null=True)
    inside = models.BooleanField(null=True)
    tested_on = models.DateField()
    person = _person()
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(value__isnull=False, text="") | Q(value__isnull=True) & ~Q(text=""),
                name="test_result_says_something",
            ),
        )
        indexes = (models.Index(fields=["coop", "maker", "lot"], name="test_result_by_lot"),)


class Retest(MakerRow):
    """A lot retested: what was found, on what basis, and until when it may be used now."""

    lot = link(Lot)
    tested_on = models.DateField(null=True)
    passed = models.BooleanField()
    basis = models.CharField(max_length=400)
    retest_before = models.DateField()
    retest_on = models.DateField(null=True)
    decision = link(Decision, null=True)
    person = _person()
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(passed=True, retest_on__gt=F("retest_before"))
                | Q(passed=False, retest_on__isnull=True),
                name="retest_extends_if_passed",
            ),
        )
        indexes = (models.Index(fields=["coop", "maker", "lot"], name="retest_by_lot"),)


class LotOpening(MakerRow):
    """On which day a maker opened a lot, and how many days it is good for then; the latest stands.

    `opened_on` is None where an opening is taken back. `entry` is the draw that opened it, or with
    which some of an open lot came. `person` is None where nobody said it: the lot was open when its
    material came by its days, and whoever changed that may be of another maker.
    """

    lot = link(Lot)
    opened_on = models.DateField(null=True)
    use_within_days = models.PositiveSmallIntegerField(null=True)
    reason = models.CharField(max_length=400, blank=True)
    entry = link("ledger.Entry", null=True)
    person = _person(null=True)
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(use_within_days__isnull=True)
                | Q(
                    opened_on__isnull=False,
                    use_within_days__gte=1,
                    use_within_days__lte=MOST_DAYS_OPEN,
                ),
                name="opening_days_known",
            ),
        )
        indexes = (models.Index(fields=["coop", "maker", "lot"], name="opening_by_lot"),)

    @property
    def use_by(self) -> date | None:
        """The last day of use, if there is one."""
        if self.opened_on is None or self.use_within_days is None:
            return None
        last: date = self.opened_on + timedelta(days=self.use_within_days)
        return last


class SourceTest(MakerRow):
    """A test of what comes from a source and not from a lot, such as the water of a tap."""

    material = link("ledger.Material")
    source = models.CharField(max_length=120)
    tested_on = models.DateField()
    result = models.CharField(max_length=400)
    passed = models.BooleanField()
    person = _person()
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = (
            models.Index(fields=["coop", "maker", "material", "tested_on"], name="test_of_source"),
        )
