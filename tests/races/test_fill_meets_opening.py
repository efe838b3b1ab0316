"""While bulk is filled, somebody says that it has been open for longer."""

import threading
from datetime import timedelta

import pytest
from django.db import connection

from formulas import filling
from ledger.access import acting_as
from ledger.catalogue import change_material
from ledger.opened_lots import say_opened
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, open_workshop

pytestmark = pytest.mark.usefixtures("database")


def days_after_a_race() -> int:
    """So many days after its bulk was opened what was filled meanwhile is good; thirty at most."""
    shop = open_workshop()
    oil = shop.material("Olive")
    shop.receive(oil, "1 kg", "20.00")
    version = shop.formula("Balm", [(oil, "100")])
    bulk = shop.made_lot(version, "100")
    days = {"use_within_days": 30}
    shop.does(change_material, material=bulk.material_id, version=None, facts=days)
    product = shop.product(version, "10 g")
    filled: list[filling.Filled] = []

    def fill() -> None:
        moment = MORNING + timedelta(days=9)
        facts = {"units": 2, "used": parse_quantity("20 g"), "happened_at": moment}
        try:
            filled.append(shop.does(filling.fill, product=product.id, lot=bulk.id, **facts))
        finally:
            connection.close()

    other = threading.Thread(target=fill)
    with acting_as(shop.actor):
        say_opened(shop.actor, lot=bulk.id, opened_on=TODAY)
        other.start()
        # Long enough for a fill that does not wait to have looked at its bulk.
        other.join(1)
    other.join(20)
    (one,) = filled
    assert one.lot.expires_on is not None
    return (one.lot.expires_on - TODAY).days


def test_what_is_filled_lasts_no_longer_than_its_bulk() -> None:
    assert days_after_a_race() == 30


def test_without_the_lock_it_seems_to(monkeypatch: pytest.MonkeyPatch) -> None:
    """The control: the race is real, and only the lock decides it."""
    monkeypatch.setattr(filling, "_lock", lambda actor, product: None)
    assert days_after_a_race() == 39
