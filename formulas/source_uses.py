"""What was made with a source that was found not good: since it was last good, until it was again.

What comes from a tap has no lot of its own to hold, so whoever looks into a failed test looks at
the batches (ISO 22716:2007 6.8 and 10.2).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Min, Q, Sum

from formulas.access import batches_of, standing
from formulas.models import Batch, Weighing
from ledger.access import Actor, find
from ledger.models import Custody, SourceTest
from ledger.source_tests import source_tests_of


@dataclass(frozen=True, slots=True)
class Used:
    """So many grams from the source in a batch, first on that moment; how what it made stands.

    `status` is empty while nothing was made of the batch.
    """

    batch: Batch
    grams: Decimal
    first_at: datetime
    status: str


@dataclass(frozen=True, slots=True)
class Suspect:
    """A failed test, the days between which the source is not known to be good, and its uses.

    `since` is the day when it was last found good, None if it never was before; `until` the day
    when it was again, None if it was not yet.
    """

    test: SourceTest
    since: date | None
    until: date | None
    used: Sequence[Used]


def suspect(
    actor: Actor, *, material: UUID | str, test: UUID | str | None = None, most: int
) -> Suspect | None:
    """What was made around a failed test: this one, or the latest test if that has failed.

    None where the latest is good. Of the days of the good tests it is not known whether the use
    came first, so both are within. Raises NotFound, Forbidden.
    """
    tests = source_tests_of(actor, material)
    if test is not None:
        failed: SourceTest | None = find(tests.filter(passed=False), test)
    else:
        failed = tests.order_by("tested_on", "id").last()
    if failed is None or failed.passed:
        return None
    on, good = failed.tested_on, tests.filter(passed=True).order_by("tested_on", "id")
    days = good.values_list("tested_on", flat=True)
    since = days.filter(Q(tested_on__lt=on) | Q(tested_on=on, id__lt=failed.id)).last()
    until = days.filter(Q(tested_on__gt=on) | Q(tested_on=on, id__gt=failed.id)).first()
    used = _used(actor, failed.material_id, since, until, most)
    return Suspect(failed, since, until, used)


def _used(
    actor: Actor, material: UUID, since: date | None, until: date | None, most: int
) -> list[Used]:
    """The batches that weighings of the material between two days stand in, the latest first."""
    rows = standing(Weighing.objects.filter(maker_id=actor.maker, lot__material=material))
    if since is not None:
        rows = rows.filter(happened_at__gte=_start_of(actor, since))
    if until is not None:
        rows = rows.filter(happened_at__lt=_start_of(actor, until + timedelta(days=1)))
    summed = rows.values("batch").annotate(grams=Sum("quantity"), first_at=Min("happened_at"))
    found = list(summed.filter(grams__gt=0).order_by("-first_at", "batch")[:most])
    batches = batches_of(actor).in_bulk([row["batch"] for row in found])
    lots = [one.making.lot_id for one in batches.values() if one.making is not None]
    held = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker, lot_id__in=lots)
    status = dict(held.values_list("lot_id", "status"))
    return [
        Used(
            batch,
            row["grams"],
            row["first_at"],
            status.get(batch.making.lot_id, "") if batch.making is not None else "",
        )
        for row in found
        if (batch := batches[row["batch"]])
    ]


def _start_of(actor: Actor, day: date) -> datetime:
    return datetime.combine(day, time(), ZoneInfo(actor.time_zone))
