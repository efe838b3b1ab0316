"""A worker that is killed while it takes a long list in: nothing of it is there, and then all."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection

from api.models import SentList
from deploy.embedded import Broker, Server
from ledger.models import Entry, Lot, Material
from tests.api.sheet_files import xlsx
from tests.factories import Workshop, open_workshop
from tests.ledger.bench import work_off
from tests.pages.browsing import done, sent, shown, signed_in
from tests.races.workers import Workers, wait_for

pytestmark = pytest.mark.usefixtures("database")
LEASE_S = 6
# More than somebody waits for, and more than are written at once.
MANY = 320
WAITS = """
select count(*) from pg_stat_activity where wait_event_type = 'Lock' and pid <> pg_backend_pid()
"""


@pytest.fixture
def workers(redis_server: Broker, tmp_path: Path) -> Iterator[Workers]:
    work_off()
    running = Workers(tmp_path, STILLROOM_OUTBOX_LEASE_S=str(LEASE_S), LOG_LEVEL="INFO")
    running.start_worker()
    running.start_beat()
    yield running
    running.stop()


def somebody_waits() -> bool:
    """Whether another connection waits for a lock of ours."""
    with connection.cursor() as cursor:
        cursor.execute(WAITS)
        return bool(cursor.fetchone()[0])


@contextmanager
def held(database: Server, shop: Workshop, material: Material) -> Iterator[None]:
    """The stock of a material, locked by somebody else."""
    with psycopg.connect(database.url_app) as wire:
        for name, id in (("app.coop", shop.actor.coop_id), ("app.maker", shop.actor.maker)):
            wire.execute("select set_config(%s, %s, true)", [name, str(id)])
        wire.execute("select ledger_lock_pools(%s::uuid[])", [[material.id]])
        yield


def test_a_long_list_is_taken_in_once_whoever_is_killed(database: Server, workers: Workers) -> None:
    """A workbook of lots; the last of them are of a material that somebody holds meanwhile."""
    shop = open_workshop()
    shop.material("Almond oil")
    wax = shop.material("Beeswax")
    rows = [
        ("Almond oil" if n < MANY - 20 else "Beeswax", "1 kg", n, f"L-{n}") for n in range(MANY)
    ]
    book = xlsx(("material", "quantity", "value", "supplier_lot"), *rows)
    client = signed_in(shop)
    file = SimpleUploadedFile("lots.xlsx", book)
    answer = sent(client, "/import/lots", do="look", file=file)
    page = str(answer["Location"])
    assert re.fullmatch(r"/sent-lists/[0-9a-f-]{36}", page), shown(answer)
    wait_for(lambda: "Take these in" in shown(client.get(page)), workers.told)
    assert shop.does(lambda _: Lot.objects.count()) == 0, "only tried"
    with held(database, shop, wax):
        assert "It is being taken in" in done(client, page, do="take")
        wait_for(somebody_waits, workers.told)
        assert f"of {MANY} rows taken in" in shown(client.get(page)), "told beside the transaction"
        workers.kill_worker()
        assert shop.does(lambda _: Lot.objects.count()) == 0
        assert "It is being taken in" in shown(client.get(page))
    workers.start_worker()
    wait_for(lambda: "All of it is taken in" in shown(client.get(page)), workers.told, 300)
    kept = shop.does(lambda _: (Lot.objects.count(), Entry.objects.count()))
    assert kept == (MANY, MANY)
    row = shop.does(lambda _: SentList.objects.get())
    assert (row.state, row.content) == ("taken", None)
    assert shop.disagreements() == []
