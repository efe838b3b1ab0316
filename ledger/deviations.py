"""Rules that a named deviation overrides, so that it is kept what was overridden and why."""

from collections.abc import Sequence
from datetime import date
from enum import StrEnum
from uuid import UUID

from ledger.access import Actor
from ledger.lots import last_usable_day
from ledger.models import Custody, Status


class Rule(StrEnum):
    """A rule that can be overridden; the text is what an entry and a weighing keep of it."""

    STATUS = "status"
    LAST_USABLE_DAY = "last_usable_day"
    OPEN_TOO_LONG = "open_too_long"
    MAXIMUM_PERCENT = "maximum_percent"
    MAXIMUM_TEMPERATURE = "maximum_temperature"
    NOT_IN_FORMULA = "not_in_formula"
    LINE_MATERIAL = "line_material"
    NEWER_LOT = "newer_lot"
    BULK_AGE = "bulk_age"


def broken_by(custody: Custody, day: date) -> list[Rule]:
    """The rules that using a lot on a day breaks: released, in date, and not open for too long.

    What is not stocked has no such rules: it comes from the tap.
    """
    if not custody.lot.material.stocked:
        return []
    broken = []
    if custody.status != Status.RELEASED:
        broken.append(Rule.STATUS)
    last_day = last_usable_day(custody.lot, None)
    if last_day is not None and last_day < day:
        broken.append(Rule.LAST_USABLE_DAY)
    if custody.use_by is not None and custody.use_by < day:
        broken.append(Rule.OPEN_TOO_LONG)
    return broken


def broken_by_lots(actor: Actor, lots: Sequence[UUID], day: date) -> list[Rule]:
    """The rules that using these lots of the maker on a day breaks, each once, in one query."""
    rows = Custody.objects.select_related("lot__material").filter(
        coop_id=actor.coop_id, maker_id=actor.maker, lot_id__in=lots
    )
    broken = {rule for custody in rows for rule in broken_by(custody, day)}
    return [rule for rule in Rule if rule in broken]
