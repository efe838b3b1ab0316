"""A material comes by its days once open while another maker is drawing the first of its own."""

import threading

import pytest
from django.db import connection

from deploy.embedded import Server
from ledger.access import acting_as
from ledger.issuing import Taken, issue
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, open_workshop
from tests.openings import SEALED, Days, after, lasts, seen
from tests.races.crowd import rewritten

pytestmark = pytest.mark.usefixtures("database")


def open_after_a_race() -> Days:
    """Since when the drawn lot is open, and by when it is to be used."""
    shop = open_workshop()
    mill = open_workshop("Mill Bench", coop=shop.coop)
    oil = shop.material("Olive")
    lot = mill.receive(oil, "1 kg", "20.00")
    taken = [Taken(lot=lot.id, quantity=parse_quantity("10 g"))]

    def change() -> None:
        try:
            lasts(shop, oil, 30)
        finally:
            connection.close()

    other = threading.Thread(target=change)
    with acting_as(mill.actor):
        issue(mill.actor, lines=taken, purpose="sample", reason="smelt", happened_at=MORNING)
        other.start()
        # Long enough for a change that does not wait to have looked at what is drawn.
        other.join(1)
    other.join(20)
    assert not other.is_alive()
    return seen(mill, lot)


def test_the_draw_is_open_by_the_days_that_came_meanwhile() -> None:
    assert open_after_a_race() == (TODAY, after(30))


def test_without_the_lock_on_the_pools_it_is_missed(database: Server) -> None:
    """The control: the days are given before the draw is there to be seen."""
    lock = {"order by p.material_id, p.maker_id for update": "order by p.material_id, p.maker_id"}
    with rewritten(database, "ledger_give_days", lock):
        assert open_after_a_race() == SEALED
