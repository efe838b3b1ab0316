"""How far the books agree with what is counted: the record accuracy of sheets."""

from collections.abc import Iterable

from django.db.models import Count, F, Q
from django.db.models.functions import Abs

from ledger.access import Actor
from ledger.counting import sheets_of
from ledger.counting_rules import Accuracy
from ledger.models import CountLine, CountSheet


def accuracy_of(lines: Iterable[CountLine]) -> Accuracy:
    """How far the books agreed with what was counted, by the latest reading of each lot."""
    counted = [line for line in lines if line.counted is not None]
    return Accuracy(len(counted), sum(not line.outside for line in counted))


def latest_sheets(actor: Actor, *, limit: int) -> list[tuple[CountSheet, Accuracy]]:
    """The maker's latest sheets, each with its accuracy, in two queries. Raises Forbidden."""
    sheets = list(sheets_of(actor).order_by("-id")[:limit])
    agrees = Q(apart__lte=F("tolerance"))
    rows = (
        CountLine.objects.filter(coop_id=actor.coop_id, sheet__in=sheets, counted__isnull=False)
        .alias(apart=Abs(F("counted") - F("book")))
        .values("sheet_id")
        .annotate(counts=Count("id"), within=Count("id", filter=agrees))
        .order_by()
    )
    told = {row["sheet_id"]: Accuracy(row["counts"], row["within"]) for row in rows}
    return [(sheet, told.get(sheet.id, Accuracy(0, 0))) for sheet in sheets]
