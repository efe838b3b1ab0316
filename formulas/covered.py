"""What a reason covers: one that is asked for by itself is no excuse for everything else.

Why something goes in that no formula lists, or who approved rework, says nothing of a lot that is
past its day. A rule that it does not cover is refused as if there were no reason.
"""

from collections.abc import Collection, Iterable
from datetime import date, timedelta

from formulas.deviations import Rule
from ledger.errors import LotExpired, LotNotReleased, LotOpenTooLong, Refusal
from ledger.lots import last_usable_day
from ledger.models import Custody


def must_cover(
    only: Collection[Rule], broken: Iterable[Rule], custody: Custody | None, until: date | None
) -> None:
    """Raises LotNotReleased, LotExpired or LotOpenTooLong for a rule that is not among `only`.

    `until` is by when the lot is to be used if taking some of it opens it.
    """
    for rule in broken:
        if rule not in only and custody is not None:
            raise _refusal(rule, custody, until)


def _refusal(rule: Rule, custody: Custody, until: date | None) -> Refusal:
    """What the ledger says of such a lot."""
    about = {"lot": str(custody.lot_id), "code": custody.lot.code, "pointer": "/lot"}
    if rule is Rule.STATUS:
        return LotNotReleased(status=custody.status, **about)
    if rule is Rule.LAST_USABLE_DAY:
        return LotExpired(last_day=last_usable_day(custody.lot, None), **about)
    use_by, days = custody.use_by or until, custody.lot.material.use_within_days
    if use_by is not None and custody.opened_on is not None:
        days = (use_by - custody.opened_on).days
    opened = use_by - timedelta(days=days) if use_by is not None else None
    return LotOpenTooLong(opened_on=opened, days=days, use_by=use_by, **about)
