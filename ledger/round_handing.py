"""Handing out what came of a round, in one act: the buyer moves to each maker what it is owed.

Who gets how much and pays what is reckoned in `ledger.round_portions`, from what the round has
promised and what lies in the suppliers' accounts for its orders. A move is one between makers like
any other (ledger/sql/round_hand_outs.sql): the lot keeps its dates and papers, and its status where
whoever pledged may release lots; what is paid is owed to the buyer. Whoever pledged has agreed to
its fair share, so nobody is asked again.
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor
from ledger.entries import explained
from ledger.errors import (
    Conflict,
    Forbidden,
    Refusal,
    Sentence,
)
from ledger.ids import new_id
from ledger.models import Material, OrderRound, RoundHandOut, RoundOutcome, RoundPortion
from ledger.money import minor_units
from ledger.quantities import kept_in
from ledger.roles import MAY, Verb
from ledger.round_figures import Figures, figures_of
from ledger.round_leftovers import GRAIN
from ledger.round_limits import Above, above_highest, must_be_meant
from ledger.round_lots import Move, moves_of, named_lots
from ledger.round_portions import Portion
from ledger.round_results import ENOUGH_TO_HIDE_IN
from ledger.rounds import round_for
from ledger.transferring import accounts_between

NOTHING: Final = Decimal(0)
DECIDERS: Final = sorted(role for role, verbs in MAY.items() if Verb.DECIDE in verbs)
HAND_OUT: Final = """
select ledger_hand_out(%s, %s, %s, %s, %s, %s, %s, %s, %s::text[], %s::jsonb)
"""
# By maker and material, how much and for how much.
Got = Mapping[tuple[UUID, UUID], tuple[Decimal, Decimal]]


@dataclass(frozen=True, slots=True)
class Line:
    """What a maker gets of a material and pays for it, beside what the round has promised it; None
    as long as the actor may not know."""

    material: Material
    promised: Decimal
    split: Decimal
    quantity: Decimal | None
    amount: Decimal | None


@dataclass(frozen=True, slots=True)
class MakerLines:
    """What a maker gets, and what it pays in all beside what the round has split."""

    maker_id: UUID
    maker_name: str
    lines: Sequence[Line]

    @property
    def split(self) -> Decimal:
        return sum((line.split for line in self.lines), NOTHING)

    @property
    def amount(self) -> Decimal | None:
        amounts = [line.amount for line in self.lines if line.amount is not None]
        return sum(amounts, NOTHING) if len(amounts) == len(self.lines) else None


@dataclass(frozen=True, slots=True)
class HandingOut:
    """What handing a round out comes to, or came to, as far as the actor may know it.

    `done` is the act, once it is done; before that `missing` says what stands in its way. `paid` is
    what all pay together, None where that would tell another's part. `above` are the parts that
    cost more than the highest price of their maker, told to the buyer before the act, and
    afterwards to each maker its own. `moves` are told to the buyer, and of those that were made
    each maker is told its own.
    """

    round: OrderRound
    done: RoundHandOut | None
    missing: Sequence[str]
    makers: Sequence[MakerLines] = ()
    paid: Decimal | None = None
    within_alone: bool | None = None
    moves: Sequence[Move] = ()
    above: Sequence[Above] = ()


def handing_out(actor: Actor, round: UUID | str) -> HandingOut:
    """What would be moved and what each would pay, or what was; nothing is written.

    A maker sees what it was promised, and once it is handed out what it got and paid, and the sum
    where three or more take part. The buyer, from whom all of it comes, and whoever acts for the
    co-op see all. Raises NotFound, and Forbidden for who may not see costs.
    """
    found = round_for(actor, round)
    actor.must(Verb.RUN_ROUNDS if actor.maker_id is None else Verb.SEE_COSTS)
    reckoned = figures_of(actor, found)
    done = RoundHandOut.objects.filter(coop_id=actor.coop_id, round=found).first()
    if done is not None:
        return _done(actor, found, done, reckoned)
    if reckoned.missing:
        return HandingOut(found, None, reckoned.missing)
    if reckoned.found is None:
        return HandingOut(found, None, (), _lines(reckoned, None))
    missing: list[str] = []
    moves: list[Move] = []
    if found.buying_id == actor.maker_id:
        try:
            moves = moves_of(actor, found, _others(actor, reckoned), reckoned.materials)
        except Refusal as refusal:
            missing.append(refusal.detail)
    return HandingOut(
        found,
        None,
        missing,
        _lines(reckoned, _got(reckoned.portions)),
        reckoned.found.paid,
        reckoned.found.within_alone,
        moves,
        above_highest(found, reckoned.portions, reckoned, actor.currency),
    )


def hand_out(
    actor: Actor,
    *,
    round: UUID | str,
    happened_at: datetime,
    lots: Sequence[UUID | str] = (),
    note: str = "",
    sure: bool = False,
) -> HandingOut:
    """Move to each maker what it is owed of the round, at what it pays; as the buyer, and once.

    Out of the `lots` named, where any of a material is, or of those that came of the round's
    orders, the oldest first. Raises NotFound, Forbidden for anybody but the buyer, Conflict where
    something is to come still or all is handed out, LotNotReleased, NotEnough, Invalid; and
    AboveHighestPrice where another would pay more than it accepts, unless the buyer is `sure`.
    """
    actor.must(Verb.TRANSFER)
    found = round_for(actor, round)
    named = named_lots(actor, lots)
    if found.buying_id != actor.maker:
        raise Forbidden(
            Sentence(
                "{buyer} bought for this round and hands it out.",
                buyer=found.buying_name,
            )
        )
    with explained(), connection.cursor() as cursor:
        cursor.execute("select ledger_begin_hand_out(%s)", [found.id])
    if RoundHandOut.objects.filter(coop_id=actor.coop_id, round=found).exists():
        raise Conflict("This round is handed out: find the moves among those between makers.")
    reckoned = figures_of(actor, found)
    if reckoned.missing or reckoned.found is None:
        raise Conflict(reckoned.missing[0])
    above = above_highest(found, reckoned.portions, reckoned, actor.currency)
    must_be_meant(above, actor.maker, sure=sure)
    moves = moves_of(actor, found, _others(actor, reckoned), reckoned.materials, named)
    kept = [one for one in reckoned.portions if one.maker == actor.maker]
    with explained(), connection.cursor() as cursor:
        cursor.execute(
            HAND_OUT,
            [
                *(new_id(), found.id, happened_at, actor.person_id),
                *(note or f"Round: {found.name}", reckoned.found.paid, reckoned.found.within_alone),
                *(minor_units(actor.currency), DECIDERS),
                json.dumps([_moved(actor, one) for one in moves] + [_kept(one) for one in kept]),
            ],
        )
    return handing_out(actor, found.id)


def _moved(actor: Actor, move: Move) -> dict[str, Any]:
    giver, receiver = accounts_between(actor.maker, move.maker_id)
    unit = kept_in(move.lot.material.counted)
    return {
        **{name: str(new_id()) for name in ("id", "out_entry", "in_entry")},
        "maker": str(move.maker_id),
        "material": str(move.lot.material_id),
        "lot": str(move.lot.id),
        "quantity": str(move.quantity),
        "amount": str(move.amount),
        "entered": f"{move.quantity.normalize():f} {unit}",
        "giver_accounts": [str(id) for id in giver],
        "receiver_accounts": [str(id) for id in receiver],
    }


def _kept(portion: Portion[UUID]) -> dict[str, Any]:
    """What the buyer keeps, which moves nowhere."""
    shown = {"maker": portion.maker, "material": portion.material}
    amounts = {"quantity": portion.quantity, "amount": portion.amount}
    return {name: str(value) for name, value in (shown | amounts).items()}


def _got(portions: Iterable[Portion[UUID]]) -> Got:
    return {(one.maker, UUID(str(one.material))): (one.quantity, one.amount) for one in portions}


def _lines(reckoned: Figures, got: Got | None) -> list[MakerLines]:
    """What the makers get that the actor may know of, by name; None is not told."""
    of_maker: dict[tuple[str, UUID], list[Line]] = defaultdict(list)
    for due in reckoned.dues:
        id, name = reckoned.names[due.maker]
        material = UUID(str(due.material))
        quantity, amount = (got or {}).get((id, material), (NOTHING, NOTHING))
        line = Line(
            reckoned.materials[material],
            due.quantity + due.leftover,
            due.amount + due.leftover_amount,
            None if got is None else quantity.quantize(GRAIN),
            None if got is None else amount,
        )
        of_maker[name, id].append(line)
    return [MakerLines(id, name, own) for (name, id), own in sorted(of_maker.items())]


def _others(actor: Actor, reckoned: Figures) -> list[Portion[UUID]]:
    return [one for one in reckoned.portions if one.maker != actor.maker]


def _done(actor: Actor, round: OrderRound, done: RoundHandOut, reckoned: Figures) -> HandingOut:
    """What was handed out, as the rows that the actor sees say."""
    rows = RoundPortion.objects.filter(coop_id=actor.coop_id, hand_out=done)
    got: dict[tuple[UUID, UUID], tuple[Decimal, Decimal]] = {}
    moves = []
    for row in rows.select_related("transfer__lot__material").order_by("id"):
        key = row.to_maker_id, row.material_id
        quantity, amount = got.get(key, (NOTHING, NOTHING))
        got[key] = quantity + row.quantity, amount + row.amount
        if row.transfer is not None:
            lot = row.transfer.lot
            moves.append(Move(row.to_maker_id, lot, row.quantity, row.amount, row.transfer_id))
    return HandingOut(
        round,
        done,
        (),
        _lines(reckoned, got),
        done.paid if tells_sum(actor, round) else None,
        done.within_alone,
        moves,
        _above_own(actor, round, got, reckoned),
    )


def _above_own(actor: Actor, round: OrderRound, got: Got, reckoned: Figures) -> list[Above]:
    own = [
        Portion(maker, material, quantity, amount)
        for (maker, material), (quantity, amount) in got.items()
        if maker == actor.maker_id
    ]
    return above_highest(round, own, reckoned, actor.currency)


def tells_sum(actor: Actor, round: OrderRound) -> bool:
    """Whether the actor may know what all pay together."""
    if actor.maker_id in (None, round.buying_id):
        return True
    rows = RoundOutcome.objects.filter(coop_id=actor.coop_id, round=round)
    return rows.filter(makers__gte=ENOUGH_TO_HIDE_IN).exists()
