"""Order rounds: the coordinator opens one, makers pledge, and all is ordered as one.

A pledge is its maker's own, and the others never see it. To revise it is to pledge anew, to
withdraw it is to pledge nothing; the last one before the closing counts. What comes of a round is
reckoned by the worker (`ledger.round_closing`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models import Exists, F, OuterRef, QuerySet, Subquery, UUIDField
from django.db.models.functions import Coalesce

from ledger.access import Actor, find, find_all, material_for, suppliers_visible_to
from ledger.entries import explained
from ledger.errors import (
    Forbidden,
    Invalid,
    Sentence,
    placed,
)
from ledger.measuring import measure
from ledger.models import (
    Maker,
    Material,
    OrderRound,
    RoundBuyer,
    RoundBuyerAnswer,
    RoundClosing,
    RoundHandOut,
    RoundOutcome,
    RoundPlacement,
    RoundPledge,
    Supplier,
)
from ledger.quantities import Quantity
from ledger.roles import Verb
from ledger.transferring import maker_for


@dataclass(frozen=True, slots=True)
class Pledged:
    """How much of a material is pledged, and by how many makers."""

    material: Material
    makers: int
    quantity: Decimal


def open_round(
    actor: Actor,
    *,
    name: str,
    buyer: UUID | str,
    closes_at: datetime,
    now: datetime,
    note: str = "",
    budget: Decimal | None = None,
    without: Sequence[UUID | str] = (),
) -> OrderRound:
    """Open a round; the worker closes it at `closes_at`. `buyer` orders for all and receives.

    Whoever acts for the co-op names any maker, which is asked (`ledger.round_buyers`); a maker
    opens rounds in which it buys itself, and agrees to that by opening one. Of the suppliers in
    `without` nothing is ordered, neither for all nor by anybody alone; and nothing at all where all
    orders would come to more than `budget`. Raises Forbidden, NotFound, and Invalid for another
    buyer, a closing time that is over or a budget of nothing.
    """
    actor.must(Verb.RUN_ROUNDS)
    buying = maker_for(actor, buyer, pointer="/buyer")
    asked = [(id, f"/without/{place}") for place, id in enumerate(without)]
    suppliers = find_all(suppliers_visible_to(actor), asked)
    if actor.maker_id not in (None, buying.id):
        raise Invalid("Name your own maker, or ask the coordinator to open it.", pointer="/buyer")
    if closes_at <= now:
        raise Invalid("A round closes later than now.", pointer="/closes_at")
    if budget is not None and budget <= 0:
        raise Invalid("A budget is more than nothing.", pointer="/budget")
    opened = OrderRound.objects.create(
        coop_id=actor.coop_id,
        name=name,
        note=note,
        opened_at=now,
        closes_at=closes_at,
        buyer=buying,
        budget=budget,
        without=[str(supplier.id) for supplier in suppliers],
        person_id=actor.person_id,
    )
    if actor.maker_id is not None:
        RoundBuyerAnswer.objects.create(
            coop_id=actor.coop_id,
            round=opened,
            agrees=True,
            answered_at=now,
            person_id=actor.person_id,
        )
    return opened


def buyers_for(actor: Actor) -> "QuerySet[Maker]":
    """Who may buy in a round that one opens: any maker, or only one's own. Raises Forbidden."""
    actor.must(Verb.RUN_ROUNDS)
    makers = Maker.objects.filter(coop_id=actor.coop_id).order_by("name")
    return makers if actor.maker_id is None else makers.filter(id=actor.maker_id)


def pledge(
    actor: Actor,
    *,
    round: UUID | str,
    material: UUID | str,
    now: datetime,
    quantity: Quantity | None = None,
    highest_price: Decimal | None = None,
    takes_leftover: bool = False,
    use_per_month: Quantity | None = None,
) -> RoundPledge:
    """Pledge so much of a material, in place of what one has pledged of it in this round before.

    `highest_price` is what a kilogram or a piece may cost at most, freight included; without it
    the maker takes its fair share whatever it is, which is never above its cost alone. Where all
    say what they use a month, no more is left over than they use before it expires. Without a
    quantity the pledge is for leftover alone. Raises NotFound, Conflict for a round that is closed,
    Invalid for a material of one's own making, one that is not stocked or a pledge of nothing, and
    what `measure` raises.
    """
    actor.must(Verb.PLEDGE)
    found = round_for(actor, round)
    of = _shared_material(actor, material)
    if quantity is None and not takes_leftover:
        raise Invalid(
            "Give a quantity, or say that you take leftover; to take a pledge back, withdraw it.",
            pointer="/quantity",
        )
    entered, measured = "", None
    if quantity is not None:
        with placed("/quantity"):
            amount = measure(quantity, of)
        entered, measured = amount.entered, amount.quantity
    use = None
    if use_per_month is not None:
        with placed("/use_per_month"):
            use = measure(use_per_month, of).quantity
    return _write(
        actor,
        found,
        now,
        material=of,
        entered=entered,
        quantity=measured,
        highest_price=highest_price,
        takes_leftover=takes_leftover,
        use_per_month=use,
    )


def _shared_material(actor: Actor, id: UUID | str) -> Material:
    """A material that all know and that is ordered."""
    of = material_for(actor, id, pointer="/material")
    if of.maker_id is not None:
        raise Invalid("Only you know this material; nobody else offers it.", pointer="/material")
    if not of.stocked:
        drawn = "{name} is not stocked: it is drawn when it is needed, and nobody orders it."
        raise Invalid(Sentence(drawn, name=of.name), pointer="/material")
    return of


def withdraw_pledge(
    actor: Actor, *, round: UUID | str, material: UUID | str, now: datetime
) -> RoundPledge:
    """Take one's pledge of a material back. Raises NotFound, Conflict for a round that is closed,
    and Invalid where one has pledged none."""
    actor.must(Verb.PLEDGE)
    found = round_for(actor, round)
    of = material_for(actor, material, pointer="/material")
    last = pledges_of(actor, found.id).filter(material=of).order_by("id").last()
    if last is None or not stands(last):
        raise Invalid("You have no pledge of this material in this round.", pointer="/material")
    return _write(actor, found, now, material=of)


def stands(one: RoundPledge) -> bool:
    """Whether it asks for anything, or takes an earlier pledge back."""
    return one.quantity is not None or one.takes_leftover


def close_round(actor: Actor, *, round: UUID | str, now: datetime) -> OrderRound:
    """Close a round before its time: for whoever acts for the co-op, and for its buyer.

    Raises NotFound, Forbidden, and Conflict for one that is closed.
    """
    actor.must(Verb.RUN_ROUNDS)
    found = round_for(actor, round)
    if actor.maker_id not in (None, found.buying_id):
        raise Forbidden("A round is closed by the coordinator or by its buyer.")
    close(found.id, now, person=actor.person_id)
    return round_for(actor, found.id)


def close(round: UUID, now: datetime, *, person: int | None) -> None:
    """Close a round inside the co-op's walls: by a person once, by the clock (None) if need be."""
    with explained(), connection.cursor() as cursor:
        cursor.execute("select ledger_close_round(%s, %s, %s)", [round, now, person])


def rounds_of(actor: Actor) -> "QuerySet[OrderRound]":
    """The rounds of the co-op, each with `closed_at`, `reckoned_at` and `handed_out_at`, None where
    it is not; a reckoned one may be of those that `orders_nothing`. Whether its orders are
    `written` is told to the buyer alone.

    `asked_number`, `buying_id` and `buying_name` are of the buyer: whoever was asked last.
    `buyer_agrees` is what it said last, None where it has not answered, with `buyer_said` and
    `buyer_answered_at`. Raises Forbidden.
    """
    if not actor.may(Verb.RUN_ROUNDS):
        actor.must(Verb.READ)
    closing = RoundClosing.objects.filter(coop_id=OuterRef("coop_id"), round_id=OuterRef("id"))
    outcome = RoundOutcome.objects.filter(coop_id=OuterRef("coop_id"), round_id=OuterRef("id"))
    written = RoundPlacement.objects.filter(
        coop_id=OuterRef("coop_id"), order__round_id=OuterRef("id")
    )
    handed_out = RoundHandOut.objects.filter(coop_id=OuterRef("coop_id"), round_id=OuterRef("id"))
    asked = RoundBuyer.objects.filter(coop_id=OuterRef("coop_id"), round_id=OuterRef("id"))
    newest = asked.order_by("-number")
    makers = Maker.objects.filter(coop_id=OuterRef("coop_id"), id=OuterRef("buying_id"))
    answers = RoundBuyerAnswer.objects.filter(
        coop_id=OuterRef("coop_id"), round_id=OuterRef("id"), asked=OuterRef("asked_number")
    )
    answer = answers.order_by("-id")
    who_buys: dict[str, Any] = {
        "asked_number": Coalesce(Subquery(newest.values("number")[:1]), 0),
        "buying_id": Coalesce(
            Subquery(newest.values("buyer_id")[:1]), F("buyer_id"), output_field=UUIDField()
        ),
    }
    rows = OrderRound.objects.filter(coop_id=actor.coop_id).annotate(**who_buys)
    named: dict[str, Any] = {"buying_name": Subquery(makers.values("name"))}
    return rows.annotate(
        **named,
        closed_at=Subquery(closing.values("closed_at")),
        reckoned_at=Subquery(outcome.values("reckoned_at")),
        orders_nothing=Exists(outcome.filter(makers=0, together=0)),
        written=Exists(written),
        handed_out_at=Subquery(handed_out.values("happened_at")[:1]),
        buyer_agrees=Subquery(answer.values("agrees")[:1]),
        buyer_said=Subquery(answer.values("reason")[:1]),
        buyer_answered_at=Subquery(answer.values("answered_at")[:1]),
    )


def left_out(actor: Actor, round: OrderRound) -> list[Supplier]:
    """The suppliers of whom a round orders nothing."""
    if not round.without:
        return []
    return list(suppliers_visible_to(actor).filter(id__in=round.without).order_by("name"))


def state_of(row: OrderRound, now: datetime) -> str:
    """Whether a round of `rounds_of` is open, closed, or reckoned."""
    closed_at, reckoned_at = row.closed_at, row.reckoned_at  # type: ignore[attr-defined]
    is_open = closed_at is None and now < row.closes_at
    return "reckoned" if reckoned_at else "open" if is_open else "closed"


def round_for(actor: Actor, id: UUID | str | OrderRound) -> OrderRound:
    """A round of the co-op; one that was found by this already is itself. Raises NotFound."""
    return id if isinstance(id, OrderRound) else find(rounds_of(actor), id)


def pledges_of(actor: Actor, round: UUID | str | OrderRound) -> "QuerySet[RoundPledge]":
    """All that the maker has pledged in a round; `counts` marks the last of each material.

    Raises NotFound, and Forbidden for who is of no maker.
    """
    actor.must(Verb.READ)
    found = round_for(actor, round)
    rows = RoundPledge.objects.select_related("material", "round")
    later = RoundPledge.objects.filter(
        coop_id=OuterRef("coop_id"),
        maker_id=OuterRef("maker_id"),
        round_id=OuterRef("round_id"),
        material_id=OuterRef("material_id"),
        id__gt=OuterRef("id"),
    )
    own = rows.filter(coop_id=actor.coop_id, maker_id=actor.maker, round=found)
    return own.annotate(counts=~Exists(later))


def standing_pledges(actor: Actor, round: UUID | str | OrderRound) -> list[RoundPledge]:
    """The maker's pledges as they stand now, the latest first. Raises as `pledges_of`."""
    latest = pledges_of(actor, round).order_by("-id")
    return [one for one in latest if one.counts and stands(one)]  # type: ignore[attr-defined]


def totals_of(actor: Actor, round: OrderRound) -> list[Pledged]:
    """What is pledged in all, as far as the actor may know it (ledger/sql/rounds.sql)."""
    with connection.cursor() as cursor:
        cursor.execute("select * from ledger_round_totals(%s)", [round.id])
        rows = cursor.fetchall()
    materials = Material.objects.filter(coop_id=actor.coop_id)
    known = materials.in_bulk([material for material, _, _ in rows])
    return [Pledged(known[material], makers, quantity) for material, makers, quantity in rows]


def _write(actor: Actor, round: OrderRound, now: datetime, **facts: object) -> RoundPledge:
    with explained():
        return RoundPledge.objects.create(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            round=round,
            pledged_at=now,
            person_id=actor.person_id,
            **facts,
        )
