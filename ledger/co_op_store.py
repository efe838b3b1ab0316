"""Which maker keeps the co-op's store: what is left of rounds, and what all may claim at cost.

It is a maker like the others, with stock, books and balances of its own, so that nothing moves into
the store or out of it without a rule; that it is the store is a name alone. Whoever acts for the
co-op gives it.
"""

from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from ledger.access import Actor
from ledger.errors import Forbidden
from ledger.models import Maker, StoreNaming
from ledger.roles import Verb
from ledger.transferring import maker_for


def store_keeper(actor: Actor) -> Maker | None:
    """The maker that keeps the co-op's store by now: all its makers know of each other."""
    rows = StoreNaming.objects.select_related("keeper").filter(coop_id=actor.coop_id)
    named = rows.order_by("-id").first()
    return named.keeper if named else None


def name_store(actor: Actor, *, maker: UUID | str | None, now: datetime) -> Maker | None:
    """Say which maker keeps the co-op's store, or (None) that none does any more.

    Nothing moves, and nobody owes more or less for it. Raises Forbidden for anybody but the
    coordinator, and NotFound.
    """
    actor.must(Verb.RUN_ROUNDS)
    keeper = None if maker is None else maker_for(actor, maker, pointer="/maker")
    _must_act_for_the_coop(actor)
    StoreNaming.objects.create(
        coop_id=actor.coop_id, keeper=keeper, named_at=now, person_id=actor.person_id
    )
    return keeper


def may_keep(actor: Actor) -> "QuerySet[Maker]":
    """The makers of the co-op, one of which may keep its store. Raises as `name_store` does."""
    actor.must(Verb.RUN_ROUNDS)
    _must_act_for_the_coop(actor)
    return Maker.objects.filter(coop_id=actor.coop_id).order_by("name")


def _must_act_for_the_coop(actor: Actor) -> None:
    if actor.maker_id is not None:
        raise Forbidden("The co-op's store is named by the coordinator, who acts for the co-op.")
