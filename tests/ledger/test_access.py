"""The one door: what an actor may do, and what is there for whom."""

from dataclasses import replace
from uuid import UUID

import pytest
from django.db import connection, transaction

from ledger.access import (
    acting_as,
    find_all,
    lot_for,
    lots_visible_to,
    material_for,
    materials_for,
    materials_visible_to,
    set_walls,
    supplier_for,
)
from ledger.catalogue import add_supplier
from ledger.errors import Forbidden, NotFound
from ledger.models import Lot, Material, Supplier
from ledger.roles import MAY, Verb
from tests.ledger.bench import open_bench
from tests.ledger.books import Books

pytestmark = pytest.mark.usefixtures("database")
NOWHERE = UUID("00000000-0000-7000-8000-000000000000")


def walls() -> tuple[str, str]:
    with connection.cursor() as cursor:
        cursor.execute(
            "select coalesce(current_setting('app.coop', true), ''),"
            " coalesce(current_setting('app.maker', true), '')"
        )
        coop, maker = cursor.fetchone()
    return coop, maker


def test_the_walls_stand_for_one_transaction_and_fall_with_it() -> None:
    books = Books()
    with acting_as(books.actor) as actor:
        assert actor is books.actor
        assert walls() == (str(actor.coop_id), str(actor.maker_id))
    assert walls() == ("", "")
    with pytest.raises(ZeroDivisionError), acting_as(books.actor):
        _ = 1 // 0
    assert walls() == ("", "")
    with acting_as(replace(books.actor, maker_id=None)):
        assert walls() == (str(books.actor.coop_id), "")


def test_acting_is_one_durable_transaction() -> None:
    books = Books()
    with (
        transaction.atomic(),
        pytest.raises(RuntimeError, match="durable"),
        acting_as(books.actor),
    ):
        pass


def test_what_is_not_yours_looks_as_if_it_were_not_there() -> None:
    books = Books()
    neighbour = Books(bench=open_bench("Mill Bench", coop=books.bench.coop))
    stranger = Books()
    own = books.lot("1", "1")
    theirs = [neighbour.lot("1", "1").id, stranger.lot("1", "1").id, NOWHERE]
    foreign = [*map(str, theirs), "no id", ""]
    with acting_as(books.actor):
        assert lot_for(books.actor, str(own.id)) == own
        assert list(lots_visible_to(books.actor)) == [own]
        answers = set()
        for id in foreign:
            with pytest.raises(NotFound) as refused:
                lot_for(books.actor, id, pointer="/lot")
            answers.add((refused.value.detail, refused.value.pointer, refused.value.code))
        assert len(answers) == 1
        with pytest.raises(NotFound):
            material_for(books.actor, stranger.material.id)


def test_the_walls_hold_where_a_filter_was_forgotten() -> None:
    """Row-level security alone: every row that is seen is the maker's own or its co-op's."""
    books = Books()
    neighbour = Books(bench=open_bench("Mill Bench", coop=books.bench.coop))
    stranger = Books()
    secret = neighbour.bench.material("the secret base", maker=neighbour.bench.maker)
    own = books.lot("1", "1")
    neighbour.lot("1", "1")
    stranger.lot("1", "1")
    with acting_as(books.actor):
        assert list(Lot.objects.all()) == [own]
        seen = set(Material.objects.values_list("id", flat=True))
        assert seen == {books.material.id, neighbour.material.id}
        assert set(materials_visible_to(books.actor).values_list("id", flat=True)) == seen
        with pytest.raises(NotFound):
            material_for(books.actor, secret.id)
    with acting_as(neighbour.actor):
        assert material_for(neighbour.actor, secret.id) == secret
    assert not Lot.objects.exists()
    assert not Material.objects.exists()


def test_many_are_found_in_their_order_and_the_first_missing_is_named() -> None:
    books = Books()
    other = books.bench.material()
    with acting_as(books.actor):
        pairs: list[tuple[UUID | str, str]] = [
            (str(other.id), "/lines/0"),
            (books.material.id, "/lines/1"),
        ]
        wanted = pairs * 2
        assert materials_for(books.actor, wanted) == [other, books.material] * 2
        assert materials_for(books.actor, []) == []
        for bad in (str(NOWHERE), "17"):
            with pytest.raises(NotFound) as refused:
                find_all(Material.objects.all(), [*wanted, (bad, "/lines/4")])
            assert refused.value.pointer == "/lines/4"


def test_suppliers_are_the_co_op_s() -> None:
    books, stranger = Books(), Books()
    neighbour = open_bench("Mill Bench", coop=books.bench.coop)
    with acting_as(books.actor):
        supplier = add_supplier(books.actor, name="a supplier")
    with acting_as(neighbour.actor):
        assert supplier_for(neighbour.actor, supplier.id) == supplier
    with acting_as(stranger.actor):
        assert not Supplier.objects.exists()
        with pytest.raises(NotFound):
            supplier_for(stranger.actor, supplier.id)


def test_whoever_acts_for_the_co_op_alone_has_no_maker() -> None:
    books = Books()
    books.lot("1", "1")
    coordinator = replace(books.actor, maker_id=None, role="coordinator")
    with pytest.raises(Forbidden, match="sign in as a member"):
        _ = coordinator.maker
    with acting_as(coordinator):
        assert not Lot.objects.exists()
        assert Material.objects.count() == 1


def test_a_refusal_names_the_role_and_what_it_may_not_do() -> None:
    books = Books()
    reader = books.bench.as_role("read-only")
    reader.must(Verb.READ)
    with pytest.raises(Forbidden, match="'read-only' may not reverse entries"):
        reader.must(Verb.REVERSE)


def test_only_an_owner_may_do_all() -> None:
    # What all owe each other is cleared by nobody's owner.
    assert MAY["owner"] == set(Verb) - {Verb.CLEAR}
    for role, may in MAY.items():
        assert (may - {Verb.CLEAR} < MAY["owner"]) == (role != "owner")
    assert MAY["read-only"] == {Verb.READ, Verb.SEE_COSTS, Verb.SEE_OFFERS}
    assert Verb.DECIDE not in MAY["books"]


def test_walls_can_be_set_anew_within_a_transaction() -> None:
    books, other = Books(), Books()
    own, theirs = books.lot("1", "1"), other.lot("1", "1")
    with transaction.atomic():
        set_walls(books.bench.coop.id, books.bench.maker.id)
        assert list(Lot.objects.all()) == [own]
        set_walls(other.bench.coop.id, other.bench.maker.id)
        assert list(Lot.objects.all()) == [theirs]
