"""The maker that is to buy for all in a round is asked: it orders in its own name, and receives.

Its answer is a dated fact, which the whole co-op sees, and may change until its orders are written.
"""

from datetime import datetime
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from ledger.access import Actor
from ledger.entries import explained
from ledger.errors import Forbidden, Invalid
from ledger.models import OrderRound, RoundBuyerAnswer, RoundOutcome
from ledger.roles import Verb
from ledger.rounds import round_for, rounds_of


def answer_as_buyer(
    actor: Actor, *, round: UUID | str, agrees: bool, now: datetime, reason: str = ""
) -> OrderRound:
    """Agree to buy for all in a round, or not, saying why; in place of an earlier answer.

    Raises NotFound, Forbidden for anybody but the buyer, Invalid for a no without a reason, and
    Conflict once the orders are written.
    """
    actor.must(Verb.ORDER)
    found = round_for(actor, round)
    if found.buyer_id != actor.maker:
        raise Forbidden(f"{found.buyer.name} is asked to buy for this round, and answers.")
    if not agrees and not reason.strip():
        raise Invalid("Say why not, so that another maker can be asked.", pointer="/reason")
    with explained():
        RoundBuyerAnswer.objects.create(
            coop_id=actor.coop_id,
            round=found,
            agrees=agrees,
            reason=reason.strip(),
            answered_at=now,
            person_id=actor.person_id,
        )
    return round_for(actor, found.id)


def asked_to_buy(actor: Actor) -> "QuerySet[OrderRound]":
    """The rounds that wait for the maker's answer, but for those in which nothing is ordered."""
    if not actor.may(Verb.ORDER):
        return OrderRound.objects.none()
    answered = RoundBuyerAnswer.objects.filter(coop_id=actor.coop_id, round_id=OuterRef("id"))
    empty = RoundOutcome.objects.filter(
        coop_id=actor.coop_id, round_id=OuterRef("id"), makers=0, together=0
    )
    rows = rounds_of(actor).filter(~Exists(answered), ~Exists(empty), buyer_id=actor.maker)
    return rows.order_by("closes_at", "id")
