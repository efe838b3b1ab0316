"""A worker that is killed while it mails an order: the supplier gets it all the same."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from deploy.embedded import Broker
from ledger.access import acting_as
from ledger.catalogue import add_supplier
from ledger.models import PurchaseOrderFact
from ledger.ordering import Ordered, send_order, write_order
from ledger.quantities import parse_quantity
from tests.factories import D
from tests.ledger.bench import Bench, now, open_bench, work_off
from tests.races.post_office import PostOffice
from tests.races.workers import Workers, wait_for

pytestmark = pytest.mark.usefixtures("database")
LEASE_S = 4
ADDRESS = "drums@example.org"


@pytest.fixture
def office() -> Iterator[PostOffice]:
    with PostOffice() as office:
        yield office


@pytest.fixture
def workers(redis_server: Broker, office: PostOffice, tmp_path: Path) -> Iterator[Workers]:
    running = Workers(
        tmp_path, EMAIL_URL=office.url, STILLROOM_OUTBOX_LEASE_S=str(LEASE_S), LOG_LEVEL="INFO"
    )
    yield running
    running.stop()


def a_sending(bench: Bench) -> PurchaseOrderFact:
    """An order that is to be mailed; nobody has yet."""
    material = bench.material()
    with acting_as(bench.actor):
        seller = add_supplier(bench.actor, name="Oils by the drum", mail=ADDRESS)
        line = Ordered(str(material.id), parse_quantity("190 kg"), D(760))
        order = write_order(bench.actor, supplier=seller.id, lines=[line], happened_at=now())
        return send_order(bench.actor, order=order.id, happened_at=now())


@pytest.mark.parametrize(("moment", "times"), [("asked", 1), ("taken", 2)])
def test_the_order_is_mailed_and_sent_is_kept_once(
    workers: Workers, office: PostOffice, moment: str, times: int
) -> None:
    """Killed before the mail server took the message it is sent once; killed after, but before the
    worker knew, twice under one Message-ID."""
    work_off()
    bench = open_bench()
    sending = a_sending(bench)
    office.hang(moment, ADDRESS)
    workers.start_worker()
    workers.start_beat()
    wait_for(office.hanging.is_set, workers.told)
    workers.kill_worker()
    workers.start_worker()
    wait_for(lambda: bench.owed(task="mail_order")[0].done_at, workers.told)
    ids = [message["Message-ID"] for message in office.to(ADDRESS)]
    assert ids == [f"<{sending.id}@stillroom>"] * times
    with acting_as(bench.actor):
        assert PurchaseOrderFact.objects.filter(of=sending).count() == 1
