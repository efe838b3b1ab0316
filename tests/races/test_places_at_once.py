"""A place is given up while somebody puts a lot there: one of the two comes first."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.db.utils import OperationalError

from deploy.embedded import Server
from ledger.access import acting_as
from ledger.lot_reading import show_lot
from ledger.models import Place
from ledger.places import PlaceNotEmpty, add_place, change_place, put_lot
from tests.factories import MORNING, Workshop, open_workshop
from tests.races.crowd import all_at_once, rewritten


def impatient(shop: Workshop, place: Place) -> Callable[[], str]:
    """Give a place up, but wait for no lock longer than a moment."""

    def work() -> str:
        try:
            with acting_as(shop.actor) as actor:
                with connection.cursor() as cursor:
                    cursor.execute("set local lock_timeout = '300ms'")
                change_place(actor, place=place.id, version=None, now=MORNING, retired=True)
        except OperationalError:
            return "waited"
        return "given up"

    return work


@pytest.mark.parametrize(("lock", "ended"), [(" for share", "waited"), ("", "given up")])
def test_nobody_gives_a_place_up_under_a_lot_and_without_the_lock_somebody_does(
    database: Server, lock: str, ended: str
) -> None:
    shop = open_workshop()
    lot = shop.receive(shop.material("Olive"), "1 kg", "20.00")
    cold = shop.does(add_place, name="Cold shelf")
    with rewritten(database, "ledger_put_lot", {" for share": lock}), acting_as(shop.actor):
        put_lot(shop.actor, lot=lot.id, place=cold.id)
        assert all_at_once([impatient(shop, cold)]) == [ended]
    assert shop.does(show_lot, lot.id)["out_of_place"] is (not lock)
    if lock:
        with pytest.raises(PlaceNotEmpty):
            shop.does(change_place, place=cold.id, version=None, now=MORNING, retired=True)
