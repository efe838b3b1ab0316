"""Closing the books up to a day: what happened by then stays as it was told.

Whatever comes to light later is an entry of a later day. Since what makers owe each other stands in
the books of both, a statement of a month that one of them has closed does not change either.
"""

from datetime import date

from django.db.models import Max, Min, QuerySet

from ledger.access import Actor
from ledger.entries import explained
from ledger.errors import (
    Invalid,
    Sentence,
)
from ledger.ids import new_id
from ledger.models import Closing, Entry
from ledger.roles import Verb


def close_books(actor: Actor, *, closed_on: date, today: date, note: str = "") -> Closing:
    """Close the maker's books up to a day that is over, for good.

    Raises Forbidden, and Invalid for a day that is not over or was closed already.
    """
    closable(actor, closed_on, today=today)
    with explained():
        return Closing.objects.create(
            id=new_id(),
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            closed_on=closed_on,
            note=note,
            person_id=actor.person_id,
        )


def closable(actor: Actor, closed_on: date, *, today: date) -> None:
    """Raises Forbidden, and Invalid for a day that is not over or was closed already."""
    actor.must(Verb.CLOSE)
    if closed_on >= today:
        raise Invalid("Only a day that is over can be closed.", pointer="/closed_on")
    before = closed_up_to(actor)
    if before is not None and closed_on <= before:
        raise Invalid(
            Sentence(
                "The books are closed up to {before} already; give a later day.", before=before
            ),
            pointer="/closed_on",
        )


def closes_something(actor: Actor, closed_on: date) -> None:
    """Raises Invalid for a day before anything was booked, which is mostly a slip."""
    rows = Entry.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker)
    first = rows.aggregate(day=Min("happened_on"))["day"]
    if first is None:
        raise Invalid("Nothing is booked yet: there is nothing to close.", pointer="/closed_on")
    if closed_on < first:
        told = "Nothing was booked by then: your books begin on {first}."
        raise Invalid(Sentence(told, first=first), pointer="/closed_on")


def closed_up_to(actor: Actor) -> date | None:
    """The last day of the maker's books that is closed."""
    found: date | None = Closing.objects.filter(maker_id=actor.maker).aggregate(
        day=Max("closed_on")
    )["day"]
    return found


def closings_of(actor: Actor) -> "QuerySet[Closing]":
    """When the maker's books were closed, the latest first. Raises Forbidden."""
    actor.must(Verb.SEE_COSTS)
    return Closing.objects.filter(maker_id=actor.maker)
