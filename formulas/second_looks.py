"""A second look: another person than whoever weighed has seen lot, scale and figure.

Asked for by the FDA's draft guidance on cosmetic good manufacturing practice (2013) for each
weighing; from memory.
"""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import Prefetch, QuerySet, prefetch_related_objects

from formulas.access import batch_for, standing
from formulas.models import Batch, SecondLook, Weighing
from ledger.access import Actor, find
from ledger.entries import EXPLAINED, explained
from ledger.errors import Conflict
from ledger.roles import Verb


def look_again(
    actor: Actor, *, batch: UUID | str, weighing: UUID | str, now: datetime, note: str = ""
) -> SecondLook:
    """Keep that a second person has looked at a weighing.

    Raises Forbidden, NotFound for what is not there or was taken back, and Conflict for whoever
    weighed and for a weighing that was looked at already.
    """
    actor.must(Verb.MAKE)
    rows = standing(Weighing.objects.filter(batch=batch_for(actor, batch)))
    found = find(rows, weighing, pointer="/weighing")
    if found.person_id == actor.person_id:
        raise _own()
    if SecondLook.objects.filter(weighing=found).exists():
        raise _twice()
    look = SecondLook(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        weighing=found,
        note=note,
        looked_at=now,
        person_id=actor.person_id,
    )
    with explained():
        look.save(force_insert=True)
    return look


def weighings_seen(actor: Actor, batch: Batch) -> "QuerySet[Weighing]":
    """The weighings of a batch that count, the last first, each with its second looks.

    Raises Forbidden.
    """
    actor.must(Verb.READ)
    rows = standing(Weighing.objects.select_related("lot__material", "person"))
    return rows.filter(batch=batch).prefetch_related(_looks()).order_by("-id")


def look_up(weighings: Sequence[Weighing]) -> None:
    """Fetch the second looks at these weighings with whoever looked, and who approved rework."""
    prefetch_related_objects(weighings, _looks())
    # Rework is never weighed without a word of why: it has a deviation, as few others have.
    prefetch_related_objects([one for one in weighings if one.deviation], "reworks")


def _looks() -> "Prefetch[str]":
    return Prefetch("second_looks", SecondLook.objects.select_related("person"))


def _own() -> Conflict:
    return Conflict("Whoever weighed does not look a second time; ask somebody else to.")


def _twice() -> Conflict:
    return Conflict("Somebody has looked at this weighing already; nothing more is to be done.")


EXPLAINED["second_look_by_another"] = lambda facts: _own()
EXPLAINED["second_look_once"] = lambda facts: _twice()
