"""Bills and credits that come after a round was handed out, shared among who got the goods.

The buyer has booked them on its delivery, as any maker does (`ledger.billing`). What each pays
more is what its portion would have cost, had all of it been known at the hand-out, less what it has
paid: the same rule (`ledger.round_portions`), to the coin. It is owed to the buyer like the goods,
and falls on what each still has of them and on what it has used, as every late bill does; nothing
that was handed out is recosted (ledger/sql/round_late_bills.sql).
"""

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.models import Exists, OuterRef, QuerySet

from ledger.access import Actor
from ledger.entries import explained
from ledger.errors import (
    Conflict,
    Forbidden,
    Sentence,
)
from ledger.ids import account_id, new_id
from ledger.models import (
    Account,
    Material,
    OrderRound,
    Receipt,
    ReceiptLine,
    RoundHandOut,
    RoundLateBill,
    RoundLatePart,
    RoundPlacement,
    RoundPortion,
)
from ledger.money import minor_unit, minor_units
from ledger.roles import Verb
from ledger.round_figures import billed_late, figures_of
from ledger.round_handing import tells_sum
from ledger.round_limits import Above, above_highest, must_be_meant
from ledger.round_portions import Paid, more_to_pay
from ledger.rounds import round_for
from ledger.settling import settlement_accounts

NOTHING: Final = Decimal(0)
SHARE: Final = "select ledger_share_late_bills(%s, %s, %s, %s, %s, %s, %s::jsonb)"
# A portion that was handed out, by the id of its row.
Handed = Paid[UUID, UUID]


@dataclass(frozen=True, slots=True)
class LateLine:
    """What a maker pays more for a material, or gets back; the movement once it is made."""

    maker_id: UUID
    maker_name: str
    material: Material
    amount: Decimal
    movement_id: UUID | None = None


@dataclass(frozen=True, slots=True)
class Shared:
    """Bills that were shared, as far as the actor may know: its own lines, and what all pay more
    together (None where that would tell another's part)."""

    row: RoundLateBill
    amount: Decimal | None
    lines: Sequence[LateLine]


@dataclass(frozen=True, slots=True)
class LateBills:
    """What was shared of a round, and what is to be shared still: that is told to the buyer and to
    whoever acts for the co-op. The buyer is told as well whose part comes above its highest price.
    """

    round: OrderRound
    waiting: Sequence[LateLine]
    shared: Sequence[Shared]
    above: Sequence[Above] = ()

    @property
    def amount(self) -> Decimal:
        """What all would pay more together."""
        return sum((line.amount for line in self.waiting), NOTHING)


def late_bills(actor: Actor, round: UUID | str) -> LateBills:
    """What came after a hand-out, shared or to be shared; nothing is written.

    Raises NotFound, and Forbidden for who may not see costs.
    """
    found = round_for(actor, round)
    actor.must(Verb.RUN_ROUNDS if actor.maker_id is None else Verb.SEE_COSTS)
    portions = _portions(actor, found)
    waiting: list[LateLine] = []
    above: list[Above] = []
    if portions and actor.maker_id in (None, found.buying_id):
        rows = {row.id: row for row in portions}
        more = _more(actor, found, portions)
        waiting = [_line(rows[one.lot], amount) for one, amount in more]
        above = _above(actor, found, more) if more and actor.maker_id else []
    return LateBills(found, waiting, _shared(actor, found), above)


def handed_out_of(actor: Actor, receipt: Receipt) -> "QuerySet[OrderRound]":
    """The rounds for whose orders a delivery of the maker's came and that are handed out by now:
    what is billed for it later is shared there."""
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker}
    came = ReceiptLine.objects.filter(**own, receipt=receipt, order_line__isnull=False)
    orders = came.values("order_line__order_id")
    placed = RoundPlacement.objects.filter(**own, purchase_order_id__in=orders)
    done = RoundHandOut.objects.filter(coop_id=actor.coop_id, round_id=OuterRef("id"))
    rows = OrderRound.objects.filter(id__in=placed.values("order__round_id"))
    return rows.filter(Exists(done), coop_id=actor.coop_id).order_by("id")


def share_late_bills(
    actor: Actor, *, round: UUID | str, happened_at: datetime, note: str = "", sure: bool = False
) -> LateBills:
    """Share all that was billed since the hand-out and is not shared yet, as the round's buyer.

    Raises NotFound, Forbidden for anybody but the buyer, Conflict where the round is not handed
    out, nothing is to be shared, or the books of another are closed for that day; and Invalid for a
    moment in the future or in one's own closed books; AboveHighestPrice where another would pay
    more than it accepts by that, unless the buyer is `sure`.
    """
    actor.must(Verb.BILL)
    found = round_for(actor, round)
    if found.buying_id != actor.maker:
        raise Forbidden(
            Sentence(
                "{buyer} bought for this round and shares what comes later.",
                buyer=found.buying_name,
            )
        )
    with explained(), connection.cursor() as cursor:
        cursor.execute("select ledger_begin_hand_out(%s)", [found.id])
    portions = _portions(actor, found)
    if not portions:
        raise Conflict("This round is not handed out yet: what is billed by then goes with it.")
    more = _more(actor, found, portions)
    if not more:
        raise Conflict("Nothing was billed since the round was handed out, or all of it is shared.")
    must_be_meant(_above(actor, found, more), actor.maker, sure=sure)
    note = note or f"Round: {found.name}"
    digits = minor_units(actor.currency)
    given: list[Any] = [new_id(), found.id, happened_at, actor.person_id, note, digits]
    parts = json.dumps([_part(actor, one, amount) for one, amount in more])
    with explained(), connection.cursor() as cursor:
        cursor.execute(SHARE, [*given, parts])
    return late_bills(actor, found.id)


def _portions(actor: Actor, round: OrderRound) -> list[RoundPortion]:
    """What was handed out, as far as the actor sees it, with what was paid for it later."""
    done = RoundHandOut.objects.filter(coop_id=actor.coop_id, round=round)
    rows = RoundPortion.objects.filter(coop_id=actor.coop_id, hand_out__in=done)
    joined = rows.select_related("material", "to_maker").prefetch_related("late_parts")
    return list(joined.order_by("id"))


def _more(
    actor: Actor, round: OrderRound, portions: Sequence[RoundPortion]
) -> list[tuple[Handed, Decimal]]:
    """What is to be paid more for each portion, in order of material and maker."""
    late = billed_late(round)
    later = {row.id: [part.amount for part in row.late_parts.all()] for row in portions}
    if not late and not any(later.values()):
        return []
    wanted = figures_of(actor, round, late).portions
    paid = [
        Paid(row.to_maker_id, row.material_id, row.id, row.quantity, sum(later[row.id], row.amount))
        for row in portions
    ]
    more = more_to_pay(wanted, paid, coin=minor_unit(actor.currency))
    return sorted(more, key=lambda one: (str(one[0].material), str(one[0].maker), str(one[0].lot)))


def _above(actor: Actor, round: OrderRound, more: Sequence[tuple[Handed, Decimal]]) -> list[Above]:
    """Whose part costs more than it accepts, of those who are to pay more."""
    late = billed_late(round)
    wanted = figures_of(actor, round, late)
    touched = {(one.maker, one.material) for one, amount in more if amount > 0}
    portions = [one for one in wanted.portions if (one.maker, one.material) in touched]
    return above_highest(round, portions, wanted, actor.currency)


def _part(actor: Actor, one: Handed, amount: Decimal) -> dict[str, Any]:
    """A part as the database books it, with the accounts of both sides."""
    own, other = settlement_accounts(actor.maker, one.maker)
    return {
        "portion": str(one.lot),
        "amount": str(amount),
        **{name: str(new_id()) for name in ("movement", "own_entry", "other_entry")},
        "own_accounts": [str(own), *_books(actor.maker)],
        "other_accounts": [str(other), *_books(one.maker)],
    }


def _books(maker: UUID) -> list[str]:
    """The store of a maker, and where what was used of it takes a later bill."""
    kinds = ((Account.Kind.STORE, "store"), (Account.Kind.COST_DIFFERENCE, "cost difference"))
    return [str(account_id(maker, f"{kind.value}:{name}")) for kind, name in kinds]


def _line(portion: RoundPortion, amount: Decimal, movement: UUID | None = None) -> LateLine:
    to = portion.to_maker
    return LateLine(to.id, to.name, portion.material, amount, movement)


def _shared(actor: Actor, round: OrderRound) -> list[Shared]:
    own = {"coop_id": actor.coop_id}
    rows = list(RoundLateBill.objects.filter(**own, hand_out__round=round).order_by("id"))
    parts = RoundLatePart.objects.filter(**own, late_bill__in=[row.id for row in rows])
    lines: dict[UUID, list[LateLine]] = defaultdict(list)
    for part in parts.select_related("portion__material", "portion__to_maker").order_by("id"):
        line = _line(part.portion, part.amount, part.movement_id)
        lines[part.late_bill_id].append(line)
    told = bool(rows) and tells_sum(actor, round)
    return [Shared(row, row.amount if told else None, lines[row.id]) for row in rows]
