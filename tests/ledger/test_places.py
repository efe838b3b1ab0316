"""Where lots lie: who put them there, what a place keeps apart, and what is out of place."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import orjson
import psycopg
import pytest
from django.db import DatabaseError, connection
from django.test.utils import CaptureQueriesContext

from deploy.embedded import Server
from ledger.access import Actor, acting_as
from ledger.entries import reverse_entry
from ledger.errors import Forbidden, Invalid, NotFound, Stale
from ledger.issuing import Taken, issue
from ledger.lot_reading import LotsWanted, list_lots, show_lot
from ledger.lots import decide
from ledger.models import Custody, Lot, Place, Placing
from ledger.places import (
    PlaceKeepsOther,
    PlaceKnown,
    PlaceNotEmpty,
    PlaceRetired,
    add_place,
    change_place,
    choosable,
    place_for,
    placings_of,
    put_lot,
)
from ledger.quantities import parse_quantity
from tests.factories import MORNING, Workshop, open_workshop
from tests.ledger.books import refused_by

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture
def shop() -> Workshop:
    return open_workshop("Shelf Bench")


def place(shop: Workshop, name: str, keeps: str = "") -> Place:
    made: Place = shop.does(add_place, name=name, keeps=keeps)
    return made


def lot_of(shop: Workshop, *, released: bool = True) -> Lot:
    lot = shop.receive(shop.material("Oil"), "10 kg", "50.00")
    if not released:
        shop.does(decide, lot=lot.id, decision="quarantine", basis="label is wet")
    return lot


def changed(shop: Workshop, place: Place, **facts: Any) -> Place:
    made: Place = shop.does(change_place, place=place.id, version=None, now=MORNING, **facts)
    return made


def shown(shop: Workshop, lot: Lot) -> tuple[Any, ...]:
    one = shop.does(show_lot, lot.id)
    return one["place"], one["place_name"], one["out_of_place"]


def misplaced(shop: Workshop, *, out: bool = True) -> list[str]:
    """The codes of the lots that are out of place, or of those that are not."""
    found = shop.does(list_lots, LotsWanted(out_of_place=out), after=None, limit=9)
    return [lot["code"] for lot in orjson.loads(found.results)]


def test_a_lot_lies_where_it_was_put_last_and_every_placing_is_kept(shop: Workshop) -> None:
    lot, cold, dry = lot_of(shop), place(shop, "Cold shelf"), place(shop, "Dry room")
    assert shown(shop, lot) == (None, "", False)
    for to in (cold.id, dry.id, None, cold.id):
        shop.does(put_lot, lot=lot.id, place=to)
    assert shown(shop, lot) == (str(cold.id), "Cold shelf", False)
    rows = shop.does(lambda actor: list(placings_of(actor, lot.id)))
    assert [(one.place_id, one.person_id) for one in rows] == [
        (at, shop.actor.person_id) for at in (cold.id, None, dry.id, cold.id)
    ]
    lying: list[Any] = [shop.does(place_for, one.id) for one in (cold, dry)]
    assert [one.lots for one in lying] == [1, 0]


def test_lots_are_listed_by_their_place(shop: Workshop) -> None:
    lots, cold = [lot_of(shop) for _ in range(3)], place(shop, "Cold shelf")
    for lot in lots[:2]:
        shop.does(put_lot, lot=lot.id, place=cold.id)
    found = shop.does(list_lots, LotsWanted(place=cold.id), after=None, limit=9).results
    assert [lot.code in found for lot in lots] == [True, True, False]


def test_what_is_kept_apart_is_not_mixed(shop: Workshop) -> None:
    lot, waiting = lot_of(shop), place(shop, "Quarantine shelf", "quarantine")
    with pytest.raises(PlaceKeepsOther) as refused:
        shop.does(put_lot, lot=lot.id, place=waiting.id)
    assert refused.value.pointer == "/place"
    assert str(refused.value) == (
        f"Quarantine shelf is kept for lots that are quarantine, and the lot {lot.code} is"
        " released: put it into another place, or decide about the lot first."
    )
    shop.does(decide, lot=lot.id, decision="quarantine", basis="label is wet")
    shop.does(put_lot, lot=lot.id, place=waiting.id)
    assert shown(shop, lot) == (str(waiting.id), "Quarantine shelf", False)


def test_a_decision_may_leave_a_lot_out_of_place(shop: Workshop) -> None:
    lot, waiting = lot_of(shop, released=False), place(shop, "Quarantine shelf", "quarantine")
    shop.does(put_lot, lot=lot.id, place=waiting.id)
    assert misplaced(shop) == []
    # What is held stays where it is until somebody has decided.
    for decision, out in (("hold", False), ("release", True), ("quarantine", False)):
        shop.does(decide, lot=lot.id, decision=decision, basis="looked at it")
        assert shown(shop, lot) == (str(waiting.id), "Quarantine shelf", out)
        assert misplaced(shop) == ([lot.code] if out else [])
        assert misplaced(shop, out=False) == ([] if out else [lot.code])


def test_what_is_used_up_is_in_nobody_s_way(shop: Workshop) -> None:
    lot, waiting = lot_of(shop, released=False), place(shop, "Quarantine shelf", "quarantine")
    shop.does(put_lot, lot=lot.id, place=waiting.id)
    shop.does(decide, lot=lot.id, decision="release", basis="looked at it")
    version = shop.formula("Balm", [(lot.material, "100")])
    shop.weigh_all(shop.plan(version, "10 kg"))
    assert shown(shop, lot) == (str(waiting.id), "Quarantine shelf", False)
    assert misplaced(shop) == []
    assert changed(shop, waiting, retired=True).retired_at == MORNING


def test_what_came_back_to_a_place_given_up_lets_it_be_renamed(shop: Workshop) -> None:
    lot, cold = lot_of(shop), place(shop, "Cold shelf")
    shop.does(put_lot, lot=lot.id, place=cold.id)
    gift = {"purpose": "gift", "reason": "to a neighbour", "happened_at": MORNING}
    given = shop.does(issue, lines=[Taken(lot.id, parse_quantity("10 kg"))], **gift)
    changed(shop, cold, retired=True)
    entry = given.posted.entry_id
    shop.does(reverse_entry, entry=entry, reason="they had some", happened_at=MORNING)
    renamed = changed(shop, cold, name="Old cold shelf", retired=True)
    assert (renamed.name, renamed.retired_at, renamed.version) == ("Old cold shelf", MORNING, 3)
    assert shown(shop, lot) == (str(cold.id), "Old cold shelf", True)
    # Taken into use again, it is given up once it is empty, as ever.
    changed(shop, cold, retired=False)
    with pytest.raises(PlaceNotEmpty):
        changed(shop, cold, retired=True)


def test_what_is_used_up_is_not_listed_where_it_lay(shop: Workshop) -> None:
    """As many are listed by a place as it is said to have."""
    lots, cold = [lot_of(shop) for _ in range(2)], place(shop, "Cold shelf")
    for lot in lots:
        shop.does(put_lot, lot=lot.id, place=cold.id)
    gift = {"purpose": "gift", "reason": "to a neighbour", "happened_at": MORNING}
    shop.does(issue, lines=[Taken(lots[0].id, parse_quantity("10 kg"))], **gift)
    for in_stock in (None, True):
        wanted = LotsWanted(place=cold.id, in_stock=in_stock)
        found = orjson.loads(shop.does(list_lots, wanted, after=None, limit=9).results)
        assert [one["code"] for one in found] == [lots[1].code]
    assert shop.does(place_for, cold.id).lots == 1  # type: ignore[attr-defined]


def test_to_choose_a_place_and_put_a_lot_there_counts_nothing(shop: Workshop) -> None:
    lot, cold = lot_of(shop), place(shop, "Cold shelf")
    with acting_as(shop.actor), CaptureQueriesContext(connection) as asked:
        assert [one.name for one in choosable(shop.actor)] == ["Cold shelf"]
        put_lot(shop.actor, lot=lot.id, place=cold.id)
    assert not [one for one in asked if "ledger_holding" in str(one["sql"])]


def test_a_name_is_a_maker_s_once_whatever_its_capitals(shop: Workshop) -> None:
    cold, dry = place(shop, "  Cold   shelf "), place(shop, "Dry room")
    assert cold.name == "Cold shelf"
    with pytest.raises(PlaceKnown):
        place(shop, "COLD shelf")
    with pytest.raises(PlaceKnown):
        changed(shop, dry, name="cold Shelf")
    assert changed(shop, cold, name="cold shelf").name == "cold shelf"
    with pytest.raises(Invalid):
        place(shop, " ")
    neighbour = open_workshop("Mill Bench", coop=shop.coop)
    assert place(neighbour, "Cold shelf").name == "Cold shelf"
    with pytest.raises(NotFound):
        neighbour.does(place_for, cold.id)


def test_a_place_is_given_up_once_nothing_lies_there(shop: Workshop) -> None:
    lot, cold = lot_of(shop), place(shop, "Cold shelf")
    shop.does(put_lot, lot=lot.id, place=cold.id)
    with pytest.raises(PlaceNotEmpty) as refused:
        changed(shop, cold, retired=True)
    assert refused.value.facts["lots"] == 1
    shop.does(put_lot, lot=lot.id, place=None)
    changed(shop, cold, retired=True)
    assert shop.does(lambda actor: list(choosable(actor))) == []
    with pytest.raises(PlaceRetired):
        shop.does(put_lot, lot=lot.id, place=cold.id)
    changed(shop, cold, retired=False)
    shop.does(put_lot, lot=lot.id, place=cold.id)


def test_a_change_that_was_overtaken_is_refused(shop: Workshop) -> None:
    cold = place(shop, "Cold shelf")
    read = {"place": cold.id, "version": cold.version, "now": MORNING}
    shop.does(change_place, **read, keeps="released")
    with pytest.raises(Stale):
        shop.does(change_place, **read, name="Warm shelf")


def test_who_only_reads_puts_nothing_anywhere(shop: Workshop) -> None:
    lot, cold = lot_of(shop), place(shop, "Cold shelf")
    reader = replace(shop.actor, role="read-only")
    for act in (
        lambda: add_place(reader, name="Attic"),
        lambda: change_place(reader, place=cold.id, version=None, now=MORNING),
        lambda: put_lot(reader, lot=lot.id, place=cold.id),
    ):
        with pytest.raises(Forbidden), acting_as(reader):
            act()


def test_postgresql_keeps_what_python_keeps(shop: Workshop) -> None:
    lot, waiting = lot_of(shop), place(shop, "Quarantine shelf", "quarantine")
    shut, cold = place(shop, "Attic"), place(shop, "Cold shelf")
    changed(shop, shut, retired=True)
    shop.does(put_lot, lot=lot.id, place=cold.id)
    stranger = open_workshop("Mill Bench", coop=shop.coop)
    theirs = place(stranger, "Cold shelf")
    own = {"coop_id": shop.coop.id, "maker_id": shop.actor.maker}
    put = {**own, "lot": lot, "person_id": shop.actor.person_id}
    refusals: dict[str, Callable[[], Any]] = {
        "place_keeps_its_status": lambda: Placing.objects.create(**put, place=waiting),
        "place_in_use": lambda: Placing.objects.create(**put, place=shut),
        "ledger_placing_place_id_fk": lambda: Placing.objects.create(**put, place=theirs),
        "custody_begins_nowhere": lambda: Custody.objects.create(
            **own, lot=lot, material=lot.material, status="released", place=cold
        ),
        "place_name_once": lambda: Place.objects.create(**own, name="COLD SHELF"),
        "place_has_a_name": lambda: Place.objects.create(**own, name=""),
        "place_keeps_a_status": lambda: Place.objects.create(**own, name="Bin", keeps="lost"),
        "place_empty_when_retired": lambda: Place.objects.update(retired_at=MORNING),
    }
    for name, write in refusals.items():
        with pytest.raises(DatabaseError) as refused, acting_as(shop.actor):
            write()
        assert refused_by(refused.value) == name


def test_the_proof_of_the_books_names_a_lot_that_was_moved_past_them(
    shop: Workshop, database: Server
) -> None:
    lot, cold = lot_of(shop), place(shop, "Cold shelf")
    shop.does(put_lot, lot=lot.id, place=cold.id)
    assert shop.does(disagreements) == []
    with psycopg.connect(database.url_admin, autocommit=True) as admin:
        admin.execute("set session_replication_role = replica")
        admin.execute("update ledger_custody set place_id = null where lot_id = %s", [lot.id])
    assert shop.does(disagreements) == ["a lot lies where it was put last"]


def disagreements(actor: Actor) -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute("select rule from ledger_disagreements()")
        return [rule for (rule,) in cursor.fetchall()]


def test_where_a_lot_lies_is_written_by_a_placing_alone(shop: Workshop) -> None:
    lot, cold = lot_of(shop), place(shop, "Cold shelf")
    shop.does(put_lot, lot=lot.id, place=cold.id)
    writes: list[Callable[[], Any]] = [
        lambda: Custody.objects.filter(lot=lot).update(place=None),
        lambda: Placing.objects.update(place=None),
        lambda: Placing.objects.all().delete(),
    ]
    for write in writes:
        with pytest.raises(DatabaseError) as refused, acting_as(shop.actor):
            write()
        assert isinstance(refused.value.__cause__, psycopg.errors.InsufficientPrivilege)
