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


def overrode_after_a_race() -> list[str]:
    """What a fill knows that it overrides, forty days after its bulk was opened for thirty."""
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
        moment = MORNING + timedelta(days=40)
        facts = {"units": 2, "used": parse_quantity("20 g"), "happened_at": moment}
        facts["deviation"] = "tested by hand"
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
    overrode: list[str] = one.filling.overrode
    return overrode


def test_what_is_filled_knows_how_long_its_bulk_was_open() -> None:
    assert overrode_after_a_race() == ["open_too_long"]


def test_without_the_lock_it_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """The control: the race is real, and only the lock decides it."""
    monkeypatch.setattr(filling, "_lock", lambda actor, product: None)
    assert overrode_after_a_race() == []
