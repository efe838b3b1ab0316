"""The outbox: claims that run out, work done at least once, and hints that never get in the way."""

import socket
import threading
import time
import uuid
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import psycopg
import pytest
from django.conf import settings as django_settings
from django.db import ProgrammingError, connection, transaction
from pytest_django import Settings

import deploy.celery
from deploy.embedded import Broker, Server
from ledger import outbox
from ledger.access import acting_as, set_walls
from ledger.models import Outbox, Sweep
from ledger.outbox import Work
from tests.ledger.bench import Bench, now, open_bench, work_off

pytestmark = pytest.mark.usefixtures("database")
TASK = "tests.count"


@pytest.fixture(autouse=True)
def _nothing_else_is_due() -> None:
    work_off()


@pytest.fixture
def bench() -> Bench:
    return open_bench()


@pytest.fixture
def done(monkeypatch: pytest.MonkeyPatch) -> list[uuid.UUID]:
    """What the handler of our own kind of work has done."""
    subjects: list[uuid.UUID] = []

    def handler(work: Work, moment: datetime) -> None:
        subjects.append(work.subject)
        with outbox.inside(work):
            outbox.mark_done(work)

    monkeypatch.setitem(outbox._handlers, TASK, handler)
    return subjects


def owe(bench: Bench, *subjects: uuid.UUID) -> list[uuid.UUID]:
    wanted = list(subjects) or [uuid.uuid4()]
    with acting_as(bench.actor):
        outbox.owe(bench.coop.id, bench.maker.id, TASK, wanted)
    return wanted


def claim() -> Work:
    work = outbox.claim()
    assert work is not None
    return work


def run_out(work: Work) -> None:
    """Let the claim have run out, as if the time had passed."""
    with outbox.inside(work):
        Outbox.objects.filter(id=work.id).update(claimed_until=now() - timedelta(seconds=1))


def test_what_is_owed_is_done_once(bench: Bench, done: list[uuid.UUID]) -> None:
    subjects = owe(bench, uuid.uuid4(), uuid.uuid4())
    work_off()
    work_off()
    assert sorted(done) == sorted(subjects)
    assert all(row.done_at and row.attempts == 1 for row in bench.owed(task=TASK))


def test_what_waits_is_not_owed_twice(bench: Bench, done: list[uuid.UUID]) -> None:
    subject = uuid.uuid4()
    owe(bench, subject, subject)
    owe(bench, subject)
    work_off()
    assert done == [subject]
    owe(bench, subject)
    work_off()
    assert done == [subject, subject]


def test_what_is_rolled_back_is_not_owed(bench: Bench, done: list[uuid.UUID]) -> None:
    with acting_as(bench.actor):
        outbox.owe(bench.coop.id, bench.maker.id, TASK, [uuid.uuid4()])
        transaction.set_rollback(True)
    work_off()
    assert done == []


def test_a_claim_keeps_others_away_until_it_runs_out(bench: Bench) -> None:
    owe(bench)
    first = claim()
    assert outbox.claim() is None
    run_out(first)
    second = claim()
    assert (second.id, first.attempts, second.attempts) == (first.id, 1, 2)


def test_the_lease_outlasts_the_longest_task() -> None:
    assert django_settings.CELERY_TASK_TIME_LIMIT < django_settings.OUTBOX_LEASE_S


def test_two_workers_at_once_claim_different_work(bench: Bench) -> None:
    """The first has not committed its claim when the second asks, and makes nobody wait."""
    owe(bench, uuid.uuid4(), uuid.uuid4())
    claimed: list[Work | None] = []

    def second() -> None:
        try:
            claimed.append(outbox.claim())
        finally:
            connection.close()

    with transaction.atomic():
        claimed.append(outbox.claim())
        other = threading.Thread(target=second)
        other.start()
        other.join(10)
        assert not other.is_alive()
    ids = [work.id for work in claimed if work]
    assert len(set(ids)) == 2


def test_what_comes_during_the_work_is_done_after_it(bench: Bench, done: list[uuid.UUID]) -> None:
    (subject,) = owe(bench)
    first = claim()
    owe(bench, subject)
    second = claim()
    assert (second.subject, second.id == first.id) == (subject, False)


def test_a_failure_is_put_off_longer_each_time(bench: Bench) -> None:
    owe(bench)
    pauses = []
    for _ in range(3):
        work = claim()
        outbox.mark_failed(work, "OSError: " + "x" * 500)
        (row,) = bench.owed(task=TASK)
        assert len(row.last_error) == 400
        assert outbox.claim() is None
        pauses.append(round((row.due_at - now()) / timedelta(seconds=30)))
        run_out(work)
        with acting_as(bench.actor):
            Outbox.objects.filter(id=row.id).update(due_at=now())
    assert pauses == [1, 2, 4]


def test_a_failure_does_not_collide_with_what_came_meanwhile(
    bench: Bench, done: list[uuid.UUID]
) -> None:
    (subject,) = owe(bench)
    work = claim()
    owe(bench, subject)
    outbox.mark_failed(work, "OSError")
    work_off()
    assert done == [subject]
    assert [row.done_at is None for row in bench.owed(task=TASK)] == [True, False]


def test_who_was_overtaken_cannot_put_the_work_off(bench: Bench) -> None:
    owe(bench)
    slow = claim()
    run_out(slow)
    quick = claim()
    outbox.mark_failed(slow, "too late")
    (row,) = bench.owed(task=TASK)
    assert (row.last_error, row.attempts) == ("", quick.attempts)


def test_what_fails_too_often_is_parked(bench: Bench) -> None:
    owe(bench)
    before = outbox.state()
    with acting_as(bench.actor):
        Outbox.objects.filter(task=TASK).update(attempts=outbox.MOST_ATTEMPTS - 1)
    last = claim()
    assert last.attempts == outbox.MOST_ATTEMPTS
    assert outbox.state().parked == before.parked
    run_out(last)
    assert outbox.claim() is None
    assert outbox.state().parked == before.parked + 1
    assert outbox.state().owed == before.owed - 1


def test_what_was_parked_can_be_released(bench: Bench, done: list[uuid.UUID]) -> None:
    """Also when the same work is owed anew by then."""
    (subject,) = owe(bench)
    with acting_as(bench.actor):
        Outbox.objects.filter(task=TASK).update(
            attempts=outbox.MOST_ATTEMPTS, claimed_until=now() - timedelta(seconds=1)
        )
    owe(bench, subject)
    work_off()
    assert done == [subject]
    assert outbox.release_parked() >= 1
    assert outbox.release_parked() == 0
    work_off()
    assert done.count(subject) == 2
    assert all(row.done_at for row in bench.owed(task=TASK))


def test_work_that_is_being_done_for_the_last_time_is_not_released(bench: Bench) -> None:
    owe(bench)
    with acting_as(bench.actor):
        Outbox.objects.filter(task=TASK).update(attempts=outbox.MOST_ATTEMPTS - 1)
    last = claim()
    outbox.release_parked()
    (row,) = bench.owed(task=TASK)
    assert row.attempts == last.attempts == outbox.MOST_ATTEMPTS


def test_the_state_says_since_when_work_is_owed(bench: Bench) -> None:
    owe(bench)
    long_ago = now() - timedelta(days=2000)
    with acting_as(bench.actor):
        Outbox.objects.filter(task=TASK).update(due_at=long_ago)
    assert outbox.state().oldest_due_at == long_ago
    assert outbox.state().owed >= 1


def test_work_that_nobody_knows_is_kept_with_the_reason(bench: Bench) -> None:
    with acting_as(bench.actor):
        outbox.owe(bench.coop.id, bench.maker.id, "tests.unknown", [uuid.uuid4()])
    work_off()
    (row,) = bench.owed(task="tests.unknown")
    assert row.done_at is None
    assert row.last_error == "KeyError: 'tests.unknown'"


def test_one_failure_does_not_hold_up_the_rest(
    bench: Bench, done: list[uuid.UUID], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(work: Work, moment: datetime) -> None:
        with outbox.inside(work):
            outbox.mark_done(work)
            raise RuntimeError("after the mark")

    monkeypatch.setitem(outbox._handlers, "tests.broken", broken)
    with acting_as(bench.actor):
        outbox.owe(bench.coop.id, bench.maker.id, "tests.broken", [uuid.uuid4()])
    (subject,) = owe(bench)
    work_off()
    assert done == [subject]
    (row,) = bench.owed(task="tests.broken")
    assert (row.done_at, row.last_error) == (None, "RuntimeError: after the mark")


def test_a_drain_stops_when_its_time_is_over(bench: Bench, done: list[uuid.UUID]) -> None:
    owe(bench, *(uuid.uuid4() for _ in range(5)))
    assert outbox.drain(timedelta(0)) == 0
    assert done == []
    assert outbox.drain(timedelta(seconds=60)) == 5


def test_old_work_is_forgotten_and_owed_work_is_not(bench: Bench) -> None:
    owe(bench, uuid.uuid4(), uuid.uuid4(), uuid.uuid4())
    old, recent, owed = bench.owed(task=TASK)
    with acting_as(bench.actor):
        for row, days in ((old, 31), (recent, 29)):
            Outbox.objects.filter(id=row.id).update(done_at=now() - timedelta(days=days))
        Outbox.objects.filter(id=owed.id).update(due_at=now() - timedelta(days=99))
    assert outbox.forget() >= 1
    assert {row.id for row in bench.owed(task=TASK)} == {recent.id, owed.id}


def test_a_neighbour_sees_nothing_of_what_is_owed(bench: Bench) -> None:
    owe(bench)
    neighbour = open_bench("Mill Bench", coop=bench.coop)
    with acting_as(neighbour.actor):
        assert not Outbox.objects.filter(task=TASK).exists()
    with transaction.atomic():
        set_walls(uuid.uuid4(), None)
        assert not Outbox.objects.exists()


def test_only_the_ledger_says_who_swept(bench: Bench) -> None:
    with pytest.raises(ProgrammingError, match="permission denied"), acting_as(bench.actor):
        Sweep.objects.create(coop=bench.coop, task="sweep_watches", begins_at=now())


def test_the_application_cannot_ask_for_another_s_position(bench: Bench) -> None:
    neighbour = open_bench("Mill Bench", coop=bench.coop)
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        acting_as(bench.actor),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            "select * from ledger_position(%s, %s, %s, current_date)",
            [bench.coop.id, neighbour.maker.id, uuid.uuid4()],
        )


def test_who_swept_is_kept_for_a_week(bench: Bench, database: Server) -> None:
    moment = now()
    for days in (20, 10, 0):
        with transaction.atomic(durable=True), connection.cursor() as cursor:
            set_walls(bench.coop.id, None)
            window = moment - timedelta(days=days)
            cursor.execute("select ledger_sweep_watches(%s, %s)", [window, window])
    with psycopg.connect(database.url_admin) as admin:
        (kept,) = admin.execute(
            "select count(*) from ledger_sweep where coop_id = %s", [bench.coop.id]
        ).fetchone() or (None,)
    assert kept == 1


# Hints.


@pytest.fixture
def fresh_redis(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The client made anew, and no pause left over."""
    outbox._redis.cache_clear()
    monkeypatch.setattr(outbox._BrokerPause, "until", time.monotonic())
    yield
    outbox._redis.cache_clear()


def messages(broker: Broker) -> int:
    return int(outbox._redis().llen("celery"))


@pytest.mark.usefixtures("fresh_redis")
def test_of_many_hints_at_once_one_is_sent(redis_server: Broker) -> None:
    outbox._redis().delete("celery", "stillroom:hint")
    for _ in range(5):
        outbox.hint()
    assert messages(redis_server) == 1
    time.sleep(0.35)
    outbox.hint()
    assert messages(redis_server) == 2
    outbox._redis().delete("celery")
    assert deploy.celery.app.conf.task_default_queue == "celery"


@pytest.mark.usefixtures("fresh_redis")
@pytest.mark.parametrize("gone", ["nothing listens", "nobody answers"])
def test_without_a_broker_a_hint_is_quick_and_silent(
    settings: Settings, tmp_path: Path, gone: str
) -> None:
    path = tmp_path / "redis.sock"
    deaf = socket.socket(socket.AF_UNIX)
    if gone == "nobody answers":
        deaf.bind(str(path))
        deaf.listen(8)
    settings.REDIS_URL = f"unix://{path}"
    began = time.monotonic()
    outbox.hint()
    assert time.monotonic() - began < 2
    began = time.monotonic()
    for _ in range(100):
        outbox.hint()
    assert time.monotonic() - began < 1
    assert outbox.worker_alive() is False
    deaf.close()


@pytest.mark.usefixtures("fresh_redis")
def test_a_broker_that_dies_between_the_question_and_the_message_delays_nobody(
    redis_server: Broker, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    outbox._redis().delete("stillroom:hint")
    nowhere = f"redis+socket://{tmp_path}/nothing.sock"
    monkeypatch.setattr(deploy.celery.app.conf, "broker_url", nowhere)
    began = time.monotonic()
    outbox.hint()
    assert time.monotonic() - began < 5
    assert outbox._BrokerPause.until > time.monotonic()


@pytest.mark.usefixtures("fresh_redis")
def test_the_heart_of_a_worker_is_heard_for_a_minute(redis_server: Broker) -> None:
    outbox._redis().delete("stillroom:worker")
    assert outbox.worker_alive() is False
    outbox.beat_heart()
    assert outbox.worker_alive() is True
    assert 50 < int(outbox._redis().ttl("stillroom:worker")) <= 60
