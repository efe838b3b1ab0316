"""Which lots are opened at all, and what PostgreSQL keeps of it by itself."""

from typing import Any

import psycopg
import pytest
from django.db.utils import DatabaseError

from deploy.embedded import Server
from ledger.access import Actor, acting_as
from ledger.catalogue import change_material
from ledger.entries import explained
from ledger.errors import Invalid
from ledger.models import Custody, Lot, LotOpening, Material
from ledger.opened_lots import say_opened
from tests.factories import TODAY, Workshop, open_workshop
from tests.ledger.books import refused_by

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture
def shop() -> Workshop:
    return open_workshop()


def test_pieces_and_what_comes_from_the_tap_have_no_days_once_open(shop: Workshop) -> None:
    for facts in ({"measured_by": "count"}, {"stocked": False}):
        with pytest.raises(Invalid, match="weighed out of a container") as refused:
            shop.material("Jar", use_within_days=30, **facts)
        assert refused.value.pointer == "/use_within_days"
        kept = shop.material("Jar", **facts)
        changed = {"material": kept.id, "version": None, "facts": {"use_within_days": 30}}
        with pytest.raises(Invalid, match="weighed out of a container"):
            shop.does(change_material, **changed)
        with pytest.raises(DatabaseError) as written, acting_as(shop.actor):
            Material.objects.filter(id=kept.id).update(use_within_days=30)
        assert refused_by(written.value) == "material_use_within_days_once_open"


def test_a_lot_of_pieces_is_not_opened(shop: Workshop) -> None:
    lot = shop.receive(shop.material("Jar", measured_by="count"), "20 each", "10")
    with pytest.raises(Invalid, match="Each piece is opened by itself") as refused:
        shop.does(say_opened, lot=lot.id, opened_on=TODAY)
    assert refused.value.pointer == "/opened_on"
    row: dict[str, Any] = {"coop_id": shop.coop.id, "maker_id": shop.actor.maker, "lot": lot}
    row |= {"person_id": shop.actor.person_id, "opened_on": TODAY}
    with pytest.raises(DatabaseError) as written, acting_as(shop.actor):
        LotOpening.objects.create(**row)
    assert refused_by(written.value) == "opening_of_weighed_lot"
    with pytest.raises(Invalid) as told, acting_as(shop.actor), explained():
        LotOpening.objects.create(**row)
    assert (told.value.pointer, str(told.value)) == (refused.value.pointer, str(refused.value))


@pytest.mark.parametrize("came", ["opened_on", "use_by"])
def test_nobody_has_a_lot_that_came_open_without_an_opening(shop: Workshop, came: str) -> None:
    material = shop.material("Olive")
    lot = Lot(coop_id=shop.coop.id, code="N-9", material=material, arrived_on=TODAY)
    lot.origin_id = shop.actor.maker
    own = {"coop_id": shop.coop.id, "maker_id": shop.actor.maker, "status": "released"}

    def write(actor: Actor) -> None:
        lot.save(force_insert=True)
        Custody.objects.create(**own, lot=lot, material=material, **{came: TODAY})

    with pytest.raises(DatabaseError) as refused:
        shop.does(write)
    assert refused_by(refused.value) == "custody_begins_closed"


@pytest.mark.parametrize("spoilt", ["opened_on = null, use_by = null", "use_by = use_by + 300"])
def test_the_proof_of_the_books_names_a_lot_that_is_open_otherwise_than_was_said(
    shop: Workshop, database: Server, spoilt: str
) -> None:
    lot = shop.receive(shop.material("Olive", use_within_days=30), "1 kg", "20")
    shop.does(say_opened, lot=lot.id, opened_on=TODAY)
    assert shop.disagreements() == []
    with psycopg.connect(database.url_admin, autocommit=True) as admin:
        admin.execute("set session_replication_role = replica")
        admin.execute(f"update ledger_custody set {spoilt} where lot_id = %s", [lot.id])
    assert [rule for rule, _ in shop.disagreements()] == ["a lot is open as was said last"]
