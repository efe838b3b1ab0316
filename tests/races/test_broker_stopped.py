"""The broker killed and started again: no write fails, and nothing that is owed is lost."""

import shutil
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import transaction
from pytest_django import Settings

import deploy.celery
from deploy import embedded, environment
from deploy.embedded import Broker
from ledger import alerts, outbox
from ledger.access import acting_as
from ledger.models import Lot
from ledger.quantities import parse_quantity
from tests.ledger.bench import Bench, open_bench, work_off
from tests.races.post_office import PostOffice
from tests.races.workers import Workers, wait_for

pytestmark = pytest.mark.usefixtures("database")


@pytest.fixture
def home() -> Iterator[Path]:
    """Short, because a socket's path must be."""
    made = Path(tempfile.mkdtemp(prefix="stillroom-broker-"))
    yield made
    shutil.rmtree(made, ignore_errors=True)


@pytest.fixture
def broker(
    home: Path, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> Iterator[list[Broker]]:
    """A Redis of this test alone, which our own process hints to as well. The last one runs."""
    started = [embedded.start_redis(home)]
    settings.REDIS_URL = started[0].url
    monkeypatch.setattr(
        deploy.celery.app.conf, "broker_url", environment.broker_url(started[0].url)
    )
    outbox._redis.cache_clear()
    yield started
    outbox._redis.cache_clear()
    for each in started:
        each.process.stop()


@pytest.fixture
def office() -> Iterator[PostOffice]:
    with PostOffice() as office:
        yield office


@pytest.fixture
def workers(broker: list[Broker], office: PostOffice, home: Path) -> Iterator[Workers]:
    work_off()
    running = Workers(home, EMAIL_URL=office.url, REDIS_URL=broker[0].url)
    yield running
    running.stop()


def watched(point: str) -> tuple[Bench, Lot]:
    """5 kg of a material with a reorder point."""
    bench = open_bench()
    material = bench.material()
    lot = bench.lot(material, "5000")
    with acting_as(bench.actor):
        alerts.set_watch(bench.actor, material=material.id, reorder_point=parse_quantity(point))
    return bench, lot


def write(bench: Bench, lot: Lot, grams: str) -> float:
    """An entry as a request writes it, with the hint after it; returns the seconds it took."""
    began = time.monotonic()
    with acting_as(bench.actor):
        bench.spill_within(lot, grams)
        transaction.on_commit(outbox.hint)
    return time.monotonic() - began


def test_a_hint_alone_wakes_the_worker(workers: Workers, office: PostOffice) -> None:
    """There is no beat here, so nothing but the hint can."""
    bench, lot = watched("4 kg")
    workers.start_worker()
    write(bench, lot, "2000")
    wait_for(lambda: office.to(bench.email), workers.told)


def test_what_was_written_without_a_broker_is_done_when_it_is_back(
    workers: Workers, office: PostOffice, broker: list[Broker], home: Path
) -> None:
    bench, lot = watched("4 kg")
    workers.start_worker()
    workers.start_beat()
    wait_for(outbox.worker_alive, workers.told)
    wait_for(lambda: not bench.owed(done_at=None), workers.told)
    assert office.to(bench.email) == []

    # A hint that was sent just now is heard a little later, from the worker's own memory.
    time.sleep(2)
    broker[-1].process.process.kill()
    broker[-1].process.process.wait()
    slowest = max(write(bench, lot, "500") for _ in range(4))
    assert slowest < 3
    assert not outbox.worker_alive()
    # Four changes owe one check; a sweep may have taken it up already, and then another is owed.
    assert bench.owed(done_at=None)
    assert len(bench.owed(done_at=None, claimed_until=None)) <= 1
    time.sleep(6)
    assert office.to(bench.email) == []

    broker.append(embedded.start_redis(home))
    wait_for(lambda: office.to(bench.email), workers.told)
    wait_for(outbox.worker_alive, workers.told)
    wait_for(lambda: not bench.owed(done_at=None), workers.told)
    assert len(office.to(bench.email)) == 1


def test_a_broker_that_forgot_everything_loses_nothing(
    workers: Workers, office: PostOffice, broker: list[Broker], home: Path
) -> None:
    bench, lot = watched("4 kg")
    write(bench, lot, "2000")
    outbox._redis().flushall()
    workers.start_worker()
    workers.start_beat()
    wait_for(lambda: office.to(bench.email), workers.told)
