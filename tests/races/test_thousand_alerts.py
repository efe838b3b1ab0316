"""Worker, broker and database are killed in turn during a thousand alerts.

Each of two receivers, a mail address and a program, has a message of each alert, and knows it by
one id. What came twice came once just before a kill or during it and once after, and no more of
them than were on their way: those that were between the sending and the mark.
"""

import itertools
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.api.client import Client, Coop, open_coop
from tests.api.people import maker_id, sql
from tests.migrated import migrated
from tests.races.post_office import PostOffice
from tests.races.receiving import Receiving
from tests.races.test_killed_services import kill
from tests.running import Running

ALERTS, ADDRESS = 1000, "stock@example.org"
LEASE_S, WITHIN_S = 6, 150
# What was begun before a database went away is sent, and not marked, until then.
ON_ITS_WAY_S = 2
# As many as there are processors, and as many messages may be on their way.
AT_ONCE = 2
WORKER, BROKER, DATABASE = ("celery", "worker"), ("redis",), ("postgres", "-D")
KILLS = (WORKER, BROKER, DATABASE)
# A thousand more of the one material that there is, each watched, with the check that this owes.
LOW = """
with material as (
  insert into ledger_material
  select (jsonb_populate_record(m, jsonb_build_object('id', uuidv7(), 'name', 'Oil ' || n))).*
    from ledger_material m cross join generate_series(1, {count}) n
  returning coop_id, id
), watch as (
  insert into ledger_watch (coop_id, maker_id, id, material_id, reorder_point, entered, version)
  select coop_id, {maker}, uuidv7(), id, 1000, '1 kg', 1 from material
)
insert into ledger_outbox (coop_id, maker_id, id, task, subject)
select coop_id, {maker}, uuidv7(), 'check_watch', id from material
"""


@pytest.fixture
def receiving() -> Iterator[Receiving]:
    with Receiving() as receiving:
        yield receiving


@pytest.fixture
def office() -> Iterator[PostOffice]:
    with PostOffice() as office:
        yield office


@pytest.fixture
def running(tmp_path: Path, office: PostOffice) -> Iterator[Running]:
    """A server that may be killed, whose mail and messages come to us."""
    running = Running(
        migrated(tmp_path / "server", durable=True),
        {
            "EMAIL_URL": office.url,
            "STILLROOM_WEBHOOK_NETWORKS": "127.0.0.0/8",
            "STILLROOM_OUTBOX_LEASE_S": str(LEASE_S),
            "WORKER_CONCURRENCY": str(AT_ONCE),
        },
    )
    yield running.wait_ready()
    running.discard()


def reached(look: Callable[[], bool], running: Running) -> None:
    end = time.monotonic() + WITHIN_S
    while not look():
        assert time.monotonic() < end, running.output[-3000:]
        time.sleep(0.05)


def test_each_receiver_has_each_message(
    running: Running, office: PostOffice, receiving: Receiving
) -> None:
    coop = open_coop(running, "North Bench")
    north = coop["North Bench"]
    for body in ({"mail": ADDRESS}, {"webhook": receiving.url}):
        north.post("alert-receivers", body).made()
    run_low(north, coop)

    def mails() -> set[str]:
        return {str(one["Message-ID"]) for one in office.to(ADDRESS)}

    def least() -> int:
        return min(len(mails()), len(set(receiving.ids())))

    killed = []
    for number, words in enumerate(KILLS, 1):
        reached(lambda number=number: least() > number * ALERTS // 5, running)  # type: ignore[misc]
        begun = time.monotonic()
        kill(running.child(*words))
        killed.append((begun, time.monotonic()))
    reached(lambda: least() >= ALERTS and all_marked(running), running)

    assert running.killed() == ["worker", "redis", "postgres"], running.output
    written = messages(running)
    assert mails() == {f"<{id}@stillroom>" for id in written["mail"]}
    assert set(receiving.ids()) == written["webhook"]
    assert len(written["mail"]) == len(written["webhook"]) == ALERTS
    by_id = zip(office.messages, office.taken_at, strict=True)
    only_at_a_kill([(str(mail["Message-ID"]), at) for mail, at in by_id], killed)
    only_at_a_kill([(one.id, one.at) for one in receiving.received], killed)


def run_low(north: Client, coop: Coop) -> None:
    """Have a thousand materials at nothing, with a reorder point."""
    north.material("Glycerin")
    maker = f"'{maker_id(coop, 'North Bench')}'"
    sql(coop.server, LOW.format(count=ALERTS, maker=maker))


def all_marked(running: Running) -> bool:
    """Whether nothing is owed any more, as far as the database can be asked just now."""
    try:
        return sql(running, "select from ledger_outbox where done_at is null limit 1") == []
    except OSError:
        return False


def messages(running: Running) -> dict[str, set[str]]:
    """The ids that were written, by channel; each alert has one for each receiver."""
    rows = sql(
        running,
        "select r.channel, m.id::text, m.alert_id::text, m.state from ledger_alertmessage m"
        " join ledger_alertreceiver r on r.id = m.receiver_id",
    )
    assert {state for *_, state in rows} == {"sent"}
    of_alert = Counter((channel, alert) for channel, _, alert, _ in rows)
    assert set(of_alert.values()) == {1}
    found: dict[str, set[str]] = defaultdict(set)
    for channel, id, *_ in rows:
        found[channel].add(id)
    return found


def only_at_a_kill(came: list[tuple[str, float]], killed: list[tuple[float, float]]) -> None:
    """What came more than once has a kill between each two times, and few have.

    It came just before the kill: hardly anything else came in between.
    """
    times: dict[str, list[float]] = defaultdict(list)
    for id, at in came:
        times[id].append(at)
    again = [pair for at in times.values() for pair in itertools.pairwise(at)]
    for first, second in again:
        kills = [
            begun for begun, ended in killed if first <= ended + ON_ITS_WAY_S and begun < second
        ]
        assert kills, (first, second, killed)
        between = [at for _, at in came if first < at < min(kills)]
        assert len(between) <= ALERTS // 10, (first, second, killed)
    assert len(again) <= len(killed) * AT_ONCE
