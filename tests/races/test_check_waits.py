"""A check must not look past a change that is about to be committed."""

import threading

import pytest
from django.db import connection

from ledger import alerts
from ledger.access import acting_as
from ledger.models import Alert, Lot
from ledger.quantities import parse_quantity
from tests.ledger.bench import Bench, open_bench, work_off

pytestmark = pytest.mark.usefixtures("database")


def low_after_a_race(bench: Bench, lot: Lot) -> bool:
    """An entry takes the material below its point while the check that waits already is done.

    The entry finds that a check is owed and adds none; the worker claims that one before the entry
    is committed. Returns whether the alert is open when both are through.
    """
    worker = threading.Thread(target=_work_off)
    with acting_as(bench.actor):
        bench.spill_within(lot, "2000")
        worker.start()
        # Long enough for a check that does not wait to be over.
        worker.join(1)
    worker.join(20)
    assert not worker.is_alive()
    assert bench.owed(done_at=None, task="check_watch") == []
    with acting_as(bench.actor):
        return Alert.objects.filter(maker=bench.maker, closed_at=None).exists()


def _work_off() -> None:
    try:
        work_off()
    finally:
        connection.close()


@pytest.fixture
def bench() -> Bench:
    work_off()
    return open_bench()


@pytest.fixture
def lot(bench: Bench) -> Lot:
    """5 kg of a material with a reorder point of 4 kg, and a check that waits."""
    material = bench.material()
    lot = bench.lot(material, "5000")
    with acting_as(bench.actor):
        alerts.set_watch(bench.actor, material=material.id, reorder_point=parse_quantity("4 kg"))
    return lot


def test_the_check_waits_for_the_entry(bench: Bench, lot: Lot) -> None:
    assert low_after_a_race(bench, lot)


def test_without_the_lock_the_alert_is_lost(
    bench: Bench, lot: Lot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control: the race is real, and only the lock decides it."""
    monkeypatch.setattr(alerts, "lock_pools", lambda materials: None)
    assert not low_after_a_race(bench, lot)
