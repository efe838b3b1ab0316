"""The maker that is to buy for all in a round is asked: it orders in its own name, and receives.

Its answer is a dated fact, which the whole co-op sees, and may change until its orders are written.
Where it declines or does not answer, whoever acts for the co-op asks another: one more dated fact.
The round stays as it is, with all pledges and what was reckoned.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import BooleanField, Value

from ledger.access import Actor
from ledger.entries import explained
from ledger.errors import (
    Conflict,
    Forbidden,
    Invalid,
    Sentence,
)
from ledger.models import (
    OrderRound,
    RoundBuyer,
    RoundBuyerAnswer,
)
from ledger.roles import Verb
from ledger.rounds import round_for
from ledger.transferring import maker_for

NEVER: Final = Value(False, output_field=BooleanField())
_ASKED: Final = """
select m.id, m.name, s.asked_at, a.agrees, coalesce(a.reason, ''), a.answered_at
  from (select 0 as number, r.buyer_id, r.opened_at as asked_at from ledger_orderround r
          where r.coop_id = %(coop)s and r.id = %(round)s
        union all
        select b.number, b.buyer_id, b.asked_at from ledger_roundbuyer b
          where b.coop_id = %(coop)s and b.round_id = %(round)s) s
  join ledger_maker m on m.coop_id = %(coop)s and m.id = s.buyer_id
  left join lateral (
    select x.agrees, x.reason, x.answered_at from ledger_roundbuyeranswer x
      where x.coop_id = %(coop)s and x.round_id = %(round)s and x.asked = s.number
      order by x.id desc limit 1) a on true
  order by s.number
"""


@dataclass(frozen=True, slots=True)
class Asked:
    """A maker that was asked to buy, and what it said to that last; None as long as nothing."""

    maker_id: UUID
    maker_name: str
    asked_at: datetime
    agrees: bool | None
    said: str
    answered_at: datetime | None


def answer_as_buyer(
    actor: Actor, *, round: UUID | str, agrees: bool, now: datetime, reason: str = ""
) -> OrderRound:
    """Agree to buy for all in a round, or not, saying why; in place of an earlier answer.

    Raises NotFound, Forbidden for anybody but the buyer, Invalid for a no without a reason, and
    Conflict once the orders are written or another is asked.
    """
    actor.must(Verb.ORDER)
    found = round_for(actor, round)
    if found.buying_id != actor.maker:
        raise Forbidden(
            Sentence(
                "{buyer} is asked to buy for this round, and answers.",
                buyer=found.buying_name,
            )
        )
    if not agrees and not reason.strip():
        raise Invalid("Say why not, so that another maker can be asked.", pointer="/reason")
    with explained():
        RoundBuyerAnswer.objects.create(
            coop_id=actor.coop_id,
            round=found,
            asked=found.asked_number,
            agrees=agrees,
            reason=reason.strip(),
            answered_at=now,
            person_id=actor.person_id,
        )
    return round_for(actor, found.id)


def ask_another(actor: Actor, *, round: UUID | str, buyer: UUID | str, now: datetime) -> OrderRound:
    """Ask another maker to buy for all in a round, for the co-op; its pledges stand.

    As long as the one that was asked before has not agreed, and no order is written. Raises
    NotFound, Forbidden for anybody but the coordinator, Invalid for the maker that is asked
    already, and Conflict once the buyer has agreed or the orders are written.
    """
    actor.must(Verb.RUN_ROUNDS)
    found = round_for(actor, round)
    named = maker_for(actor, buyer, pointer="/buyer")
    if actor.maker_id is not None:
        raise Forbidden("Another buyer is asked by the coordinator, who acts for the co-op.")
    if named.id == found.buying_id:
        raise Invalid(
            Sentence(
                "{name} is asked already, and may still change its answer; name another maker.",
                name=named.name,
            ),
            pointer="/buyer",
        )
    if found.buyer_agrees:  # type: ignore[attr-defined]
        raise Conflict(
            Sentence(
                "{buyer} has agreed to buy: it says first that it will not.",
                buyer=found.buying_name,
            )
        )
    with explained():
        RoundBuyer.objects.create(
            coop_id=actor.coop_id,
            round=found,
            number=found.asked_number + 1,
            buyer=named,
            asked_at=now,
            person_id=actor.person_id,
        )
    return round_for(actor, found.id)


def asked_in(actor: Actor, round: OrderRound) -> list[Asked]:
    """Who was asked to buy in a round and what each said, the first one first; in one query."""
    with connection.cursor() as cursor:
        cursor.execute(_ASKED, {"coop": actor.coop_id, "round": round.id})
        return [Asked(*row) for row in cursor.fetchall()]
