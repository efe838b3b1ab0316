"""Netting: what of the needs of coming periods is not covered, and when it must be ordered.

One material at a time, its periods in order, quantities in grams or pieces. Needs through
intermediates are made from their planned releases, a level at a time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from ledger.errors import Invalid


@dataclass(frozen=True, slots=True)
class Need:
    """What is needed in a period and what is already on its way to it."""

    gross: Decimal
    scheduled: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Netted:
    """One period of the record.

    `projected` is what will be left at its end if `net` arrives in it. `release` is what must be
    ordered in it so that a later period is covered, and `late` is the part of that which should
    have been ordered before the first period.
    """

    gross: Decimal
    scheduled: Decimal
    net: Decimal
    projected: Decimal
    release: Decimal
    late: Decimal


def net_requirements(
    needs: Sequence[Need],
    *,
    usable: Decimal,
    safety: Decimal = Decimal(0),
    lead_periods: int = 0,
) -> list[Netted]:
    """The record of a material, lot for lot: net = max(0, gross + safety - projected - scheduled).

    `usable` is what may be used and is not promised, at the start. Releases that would lie before
    the first period fall due in it and are told as late. Orlicky, Material Requirements Planning
    (from memory). Raises Invalid for a quantity below zero other than what is usable, which
    promises may exceed.
    """
    if lead_periods < 0 or safety < 0 or any(min(n.gross, n.scheduled) < 0 for n in needs):
        raise Invalid("Needs, receipts, safety stock and lead time are zero or more.")
    nets, projected, left = [], [], usable
    for need in needs:
        net = max(Decimal(0), need.gross + safety - left - need.scheduled)
        left += need.scheduled + net - need.gross
        nets.append(net)
        projected.append(left)
    releases = [Decimal(0)] * len(needs)
    late = [Decimal(0)] * len(needs)
    for period, net in enumerate(nets):
        due = period - lead_periods
        releases[max(0, due)] += net
        if due < 0:
            late[0] += net
    return [
        Netted(need.gross, need.scheduled, *figures)
        for need, *figures in zip(needs, nets, projected, releases, late, strict=True)
    ]
