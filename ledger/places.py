"""A maker's places, and which lot lies in which of them (ISO 22716 6.6.6).

A place may be kept for lots of one status alone; what is put there has it. Whoever decides about a
lot later may leave it out of place: that is told until somebody carries it to where it belongs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import BooleanField, Count, Exists, F, Func, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from ledger.access import Actor, find, find_all, lot_for
from ledger.entries import EXPLAINED, explained
from ledger.errors import Conflict, Invalid, Stale
from ledger.models import Account, Custody, Holding, Lot, Place, Placing, Status
from ledger.roles import Verb


class PlaceKnown(Conflict):
    """You have a place of this name already; give this one another, such as the room with it."""

    code = "place_known"


class PlaceKeepsOther(Conflict):
    """{place} is kept for lots that are {keeps}, and the lot {code} is {status}: put it into
    another place, or decide about the lot first."""

    code = "place_keeps_other"


class PlaceRetired(Conflict):
    """{place} is no longer used: choose another place, or take this one into use again."""

    code = "place_retired"


class PlaceNotEmpty(Conflict):
    """Lots lie in {place}, so it is in use: {lots} of them. Put them elsewhere first."""

    code = "place_not_empty"


def places_of(actor: Actor) -> "QuerySet[Place]":
    """The maker's places, each with how many `lots` lie there. Raises Forbidden."""
    actor.must(Verb.READ)
    there = lying_about(actor).filter(place_id=OuterRef("id")).values("place_id")
    lots = Subquery(there.annotate(lots=Count("*")).values("lots"))
    return _own(actor).annotate(lots=Coalesce(lots, 0))


def place_for(actor: Actor, id: UUID | str, *, pointer: str = "") -> Place:
    """A place of the maker. Raises NotFound, Forbidden."""
    return find(places_of(actor), id, pointer=pointer)


def lying_about(actor: Actor) -> "QuerySet[Custody]":
    """The lots that were put somewhere, and of which there is something in store."""
    rows = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker)
    return rows.filter(some_left(), place__isnull=False)


def some_left() -> Exists:
    """Of a custody: whether there is something of its lot in the maker's store."""
    key = ("coop_id", "maker_id", "material_id", "lot_id")
    held = Holding.objects.filter(**{name: OuterRef(name) for name in key})
    return Exists(held.filter(kind=Account.Kind.STORE, any_left=True))


def out_of_place() -> Func:
    """Of a custody: whether its lot lies where another status is kept, or nothing should lie."""
    given = (F("status"), F("place__keeps"), F("place__retired_at"))
    return Func(*given, function="ledger_out_of_place", output_field=BooleanField())


def add_place(actor: Actor, *, name: str, keeps: str = "") -> Place:
    """A new place, for lots of any status or (`keeps`) of one alone.

    Raises Forbidden, Invalid for no name, PlaceKnown.
    """
    actor.must(Verb.PLACE)
    made = Place(coop_id=actor.coop_id, maker_id=actor.maker, name=_named(actor, name), keeps=keeps)
    with explained():
        made.save(force_insert=True)
    return place_for(actor, made.id)


def change_place(
    actor: Actor, *, place: UUID | str, version: int | None, now: datetime, **facts: Any
) -> Place:
    """Give a place another `name`, what it `keeps`, or say that it is `retired` or used again.

    What lies there stays; what has another status than it keeps from now on is out of place.
    Raises NotFound, Forbidden, Stale, Invalid, PlaceKnown, PlaceNotEmpty.
    """
    actor.must(Verb.PLACE)
    rows = Place.objects.select_for_update(no_key=True).filter(maker_id=actor.maker)
    found = find(rows, place)
    if version is not None and found.version != version:
        raise Stale
    if "name" in facts:
        found.name = _named(actor, facts["name"], but=found)
    found.keeps = facts.get("keeps", found.keeps)
    if facts.get("retired") and found.retired_at is None:
        # What came back to a place that was given up before is in nobody's way, and out of place.
        lots = lying_about(actor).filter(place=found).count()
        if lots:
            raise PlaceNotEmpty(place=found.name, lots=lots, pointer="/retired")
        found.retired_at = now
    elif not facts.get("retired", True):
        found.retired_at = None
    found.version += 1
    with explained():
        found.save(update_fields=["name", "keeps", "retired_at", "version"])
    return place_for(actor, found.id)


def put_lot(actor: Actor, *, lot: UUID | str, place: UUID | str | None) -> Placing:
    """Put a lot into a place, or (None) out of the one that it has; who did so is kept.

    What is on hold stays where it lies, and may be carried elsewhere like any other. Raises
    NotFound, Forbidden, PlaceKeepsOther, PlaceRetired.
    """
    actor.must(Verb.PLACE)
    found = lot_for(actor, lot)
    (to,) = places_named(actor, [(place, "/place")])
    own = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker, lot=found)
    # A decision that is taken meanwhile comes after this, or before it.
    stands = own.select_for_update(no_key=True).get()
    if to is not None:
        _check_put(to, found, stands.status, "/place")
    made = _placing(actor, found.id, to)
    with explained():
        made.save(force_insert=True)
    return made


@dataclass(frozen=True, slots=True)
class New:
    """A lot that was opened just now, and where it goes, by the pointer that says so."""

    lot: Lot
    released: bool
    place: Place
    pointer: str


def places_named(
    actor: Actor, wanted: Sequence[tuple[UUID | str | None, str]]
) -> "list[Place | None]":
    """The places with these ids in their order, None for none; each id comes with its pointer.

    Raises NotFound.
    """
    rows = _own(actor)
    named = [(id, pointer) for id, pointer in wanted if id is not None]
    found = iter(find_all(rows, named) if named else [])
    return [None if id is None else next(found) for id, _ in wanted]


def put_new(actor: Actor, news: Sequence[New]) -> None:
    """Put lots that were opened just now. Raises Forbidden, PlaceKeepsOther, PlaceRetired."""
    if not news:
        return
    actor.must(Verb.PLACE)
    for new in news:
        status = Status.RELEASED if new.released else Status.QUARANTINE
        _check_put(new.place, new.lot, status, new.pointer)
    with explained():
        Placing.objects.bulk_create(_placing(actor, new.lot.id, new.place) for new in news)


def placings_of(actor: Actor, lot: UUID | str) -> "QuerySet[Placing]":
    """Where a lot was put, the latest first. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    rows = Placing.objects.filter(maker_id=actor.maker, lot=lot_for(actor, lot))
    return rows.select_related("place", "person").order_by("-id")


def choosable(actor: Actor) -> "QuerySet[Place]":
    """The places that something can be put into, by their names. Raises Forbidden."""
    actor.must(Verb.READ)
    return _own(actor).filter(retired_at=None).order_by("name", "id")


def _own(actor: Actor) -> "QuerySet[Place]":
    return Place.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker)


def _named(actor: Actor, name: str, but: Place | None = None) -> str:
    name = " ".join(name.split())
    if not name:
        raise Invalid("Say what the place is called, such as: cold shelf.", pointer="/name")
    alike = Place.objects.filter(maker_id=actor.maker, name__iexact=name)
    if (alike.exclude(id=but.id) if but else alike).exists():
        raise PlaceKnown(pointer="/name")
    return name


def _check_put(place: Place, lot: Lot, status: str, pointer: str) -> None:
    if place.retired_at is not None:
        raise PlaceRetired(place=place.name, pointer=pointer)
    if place.keeps not in ("", status):
        told = {"place": place.name, "keeps": place.keeps, "code": lot.code, "status": status}
        raise PlaceKeepsOther(**told, pointer=pointer)


def _placing(actor: Actor, lot: UUID, place: Place | None) -> Placing:
    return Placing(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot_id=lot,
        place=place,
        person_id=actor.person_id,
    )


EXPLAINED["place_name_once"] = lambda facts: PlaceKnown(pointer="/name")
EXPLAINED["place_in_use"] = lambda facts: PlaceRetired(place=facts["place"], pointer="/place")
EXPLAINED["place_keeps_its_status"] = lambda facts: PlaceKeepsOther(**facts, pointer="/place")
EXPLAINED["place_empty_when_retired"] = lambda facts: PlaceNotEmpty(**facts, pointer="/retired")
