"""Bulk is filled within the days that its formula gives (ISO 22716 7.2, the age of bulk)."""

from datetime import date, timedelta

from formulas.deviations import Rule
from formulas.errors import BulkTooOld
from formulas.models import Batch
from ledger.entries import EXPLAINED
from ledger.models import Lot


def fill_by(bulk: Lot) -> date | None:
    """The last day on which bulk is to be filled, by the version that it was made of, if any."""
    if bulk.made_in_id is None:
        return None
    rows = Batch.objects.filter(coop_id=bulk.coop_id, account_id=bulk.made_in_id)
    days = rows.values_list("version__fill_within_days", flat=True).first()
    return None if days is None else bulk.arrived_on + timedelta(days=days)


def filled_late(bulk: Lot, day: date, deviation: str) -> list[Rule]:
    """The rule that is broken by filling the bulk that day. Raises BulkTooOld without a reason."""
    last_day = fill_by(bulk)
    if last_day is None or day <= last_day:
        return []
    if not deviation:
        raise BulkTooOld(last_day=last_day, pointer="/lot")
    return [Rule.BULK_AGE]


EXPLAINED["filled_in_time"] = lambda facts: BulkTooOld(
    last_day=date.fromisoformat(facts["last_day"]), pointer="/lot"
)
