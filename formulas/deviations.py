"""Rules that a named deviation overrides, so that it is kept what was overridden and why."""

from datetime import date
from enum import StrEnum

from ledger.lots import last_usable_day
from ledger.models import Custody, Status


class Rule(StrEnum):
    """A rule of the bench; the text is what an entry and a weighing keep of it."""

    STATUS = "status"
    LAST_USABLE_DAY = "last_usable_day"
    MAXIMUM_PERCENT = "maximum_percent"
    MAXIMUM_TEMPERATURE = "maximum_temperature"
    NOT_IN_FORMULA = "not_in_formula"


def broken_by(custody: Custody, day: date) -> list[Rule]:
    """The rules that using a lot on a day breaks: released, and in date.

    What is not stocked has no such rules: it comes from the tap.
    """
    if not custody.lot.material.stocked:
        return []
    broken = []
    if custody.status != Status.RELEASED:
        broken.append(Rule.STATUS)
    last_day = last_usable_day(custody.lot)
    if last_day is not None and last_day < day:
        broken.append(Rule.LAST_USABLE_DAY)
    return broken
