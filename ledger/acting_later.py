"""Who acts when work is done later than it was asked for: the same person, as it stands by then."""

from typing import Any
from uuid import UUID

from ledger.access import Actor
from ledger.errors import Forbidden
from ledger.models import Coop, Maker, Membership


def actor_by_then(coop_id: UUID, maker_id: UUID | None, person_id: int) -> Actor:
    """A person of a maker, or of the co-op itself, inside whose walls the transaction is.

    Raises Forbidden for somebody who does not belong to it any more.
    """
    place: dict[str, Any] = {"coop_id": coop_id, "maker_id": maker_id}
    mine = Membership.objects.filter(**place, person_id=person_id, person__is_active=True)
    coop = Coop.objects.get(id=coop_id)
    for role in mine.values_list("role", flat=True):
        return Actor(person_id, coop_id, maker_id, role, coop.currency, coop.time_zone)
    raise Forbidden


def maker_to_owe(actor: Actor) -> UUID | None:
    """The maker whose work it is: what the co-op itself owes lies beside that of its first.

    None where there is no maker yet.
    """
    if actor.maker_id is not None:
        return actor.maker_id
    makers = Maker.objects.filter(coop_id=actor.coop_id)
    return makers.order_by("id").values_list("id", flat=True).first()
