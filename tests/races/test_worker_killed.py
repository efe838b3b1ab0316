"""A worker that is killed in the middle of its work: the alert still goes out."""

from collections.abc import Callable, Iterator
from ipaddress import ip_network
from pathlib import Path
from typing import Any

import pytest

from deploy.embedded import Broker
from ledger import alerts
from ledger.access import acting_as
from ledger.models import AlertMessage
from ledger.quantities import parse_quantity
from ledger.receivers import add_receiver
from tests.ledger.bench import Bench, open_bench, work_off
from tests.races.post_office import PostOffice
from tests.races.receiving import Receiving
from tests.races.workers import Workers, wait_for

pytestmark = pytest.mark.usefixtures("database")
LEASE_S = 4


@pytest.fixture
def office() -> Iterator[PostOffice]:
    with PostOffice() as office:
        yield office


@pytest.fixture
def workers(redis_server: Broker, office: PostOffice, tmp_path: Path) -> Iterator[Workers]:
    running = Workers(
        tmp_path,
        EMAIL_URL=office.url,
        STILLROOM_OUTBOX_LEASE_S=str(LEASE_S),
        STILLROOM_WEBHOOK_NETWORKS="127.0.0.0/8",
        LOG_LEVEL="INFO",
    )
    yield running
    running.stop()


@pytest.fixture
def bench() -> Bench:
    """A material at 5 kg with a reorder point of 6 kg; nobody has looked yet.

    What is due from other tests is done before, so that the next mail is ours.
    """
    work_off()
    bench = open_bench()
    material = bench.material()
    bench.lot(material, "5000")
    with acting_as(bench.actor):
        alerts.set_watch(bench.actor, material=material.id, reorder_point=parse_quantity("6 kg"))
    return bench


def mailed(bench: Bench) -> bool:
    return any(row.done_at for row in bench.owed(task="mail_alert"))


KILLS: list[Callable[[Workers], None]] = [Workers.kill_worker, Workers.kill_child]


@pytest.mark.parametrize("kill", KILLS)
@pytest.mark.parametrize(("moment", "times"), [("asked", 1), ("taken", 2)])
def test_the_alert_is_mailed_all_the_same(
    bench: Bench,
    workers: Workers,
    office: PostOffice,
    kill: Callable[[Workers], None],
    moment: str,
    times: int,
) -> None:
    """Killed before the mail server took the message it is sent once; killed after, but before the
    worker knew, twice, and both carry the same Message-ID."""
    office.hang(moment, bench.email)
    workers.start_worker()
    workers.start_beat()
    wait_for(office.hanging.is_set, workers.told)
    (before,) = bench.owed(task="mail_alert")
    assert before.done_at is None
    kill(workers)
    if workers.worker is not None and workers.worker.poll() is not None:
        workers.start_worker()
    wait_for(lambda: mailed(bench), workers.told)

    (row,) = bench.owed(task="mail_alert")
    assert (row.attempts, row.id) == (2, before.id)
    with acting_as(bench.actor):
        (kept,) = AlertMessage.objects.filter(maker=bench.maker)
    ids = [message["Message-ID"] for message in office.to(bench.email)]
    assert ids == [f"<{kept.id}@stillroom>"] * times


def test_a_program_is_told_twice_under_one_id(
    bench: Bench, workers: Workers, settings: Any
) -> None:
    """Killed after the program had the message, and before the worker knew."""
    settings.WEBHOOK_NETWORKS = (ip_network("127.0.0.0/8"),)
    with Receiving() as program:
        program.hang = True
        with acting_as(bench.actor):
            add_receiver(bench.actor, webhook=program.url)
        workers.start_worker()
        workers.start_beat()
        wait_for(program.hanging.is_set, workers.told)
        workers.kill_child()
        wait_for(lambda: any(row.done_at for row in bench.owed(task="post_alert")), workers.told)
    with acting_as(bench.actor):
        (kept,) = AlertMessage.objects.filter(maker=bench.maker, receiver__channel="webhook")
    assert program.ids() == [str(kept.id)] * 2
