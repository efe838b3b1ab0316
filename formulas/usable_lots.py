"""Whether a lot may be used for a batch on the day that it is planned for."""

from datetime import date
from uuid import UUID

from formulas.access import pourable
from formulas.models import Batch
from ledger.access import Actor
from ledger.errors import Invalid, LotExpired, LotNotReleased, LotOpenTooLong, Sentence
from ledger.lots import last_usable_day
from ledger.models import Custody, Lot, Status


def usable_lot(actor: Actor, id: UUID | str, pointer: str, batch: Batch) -> Lot:
    """A lot that may be used on the batch's day.

    Raises NotFound, Invalid, LotNotReleased, LotExpired, LotOpenTooLong.
    """
    custody: Custody = pourable(actor, id, pointer=pointer)
    found: Lot = custody.lot
    if not found.material.stocked:
        raise Invalid(
            Sentence("{name} is not stocked: it never runs short.", name=found.material.name),
            pointer=pointer,
        )
    if custody.status != Status.RELEASED:
        raise LotNotReleased(
            Sentence(
                "The lot {code} is not released: release it, or name another.", code=found.code
            ),
            pointer=pointer,
            lot=str(found.id),
            status=custody.status,
        )
    _check_days(custody, batch.planned_for, pointer)
    return found


def _check_days(custody: Custody, day: date, pointer: str) -> None:
    """Raises LotExpired, or LotOpenTooLong for a lot in date that was opened too long ago."""
    lot = custody.lot
    last = last_usable_day(lot, None)
    if last is not None and last < day:
        raise LotExpired(
            Sentence(
                "The lot {code} may be used until {last}, and the batch is planned for {day}:"
                " name another lot, or plan the batch anew for an earlier day.",
                code=lot.code,
                last=last,
                day=day,
            ),
            pointer=pointer,
            lot=str(lot.id),
            last_day=str(last),
        )
    if custody.use_by is not None and custody.use_by < day:
        raise LotOpenTooLong(
            Sentence(
                "The lot {code} was opened on {opened_on} and is to be used by {use_by}, and the"
                " batch is planned for {day}: name another lot, or plan the batch anew for an"
                " earlier day.",
                code=lot.code,
                opened_on=custody.opened_on,
                use_by=custody.use_by,
                day=day,
            ),
            pointer=pointer,
            lot=str(lot.id),
            use_by=str(custody.use_by),
        )
