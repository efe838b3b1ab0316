"""What the worker runs by the clock, and how long each of it may take."""

from datetime import timedelta

import pytest
from django.conf import settings
from django.db import connection

import deploy.celery
from deploy.embedded import Broker
from ledger import outbox, tasks, verifying
from ledger.access import acting_as
from ledger.makers import all_coops
from ledger.models import Outbox
from ledger.statements import unhurried
from tests.ledger.bench import now, open_bench

pytestmark = pytest.mark.usefixtures("database")
APP = deploy.celery.app


def test_everything_by_the_clock_is_a_task_and_each_is_its_own() -> None:
    APP.loader.import_default_modules()
    scheduled = [entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()]
    assert len(set(scheduled)) == len(scheduled)
    assert set(scheduled) <= set(APP.tasks)
    assert {"ledger.verify", "ledger.forget", "api.forget"} <= set(scheduled)


@pytest.mark.usefixtures("redis_server")
def test_no_task_is_given_to_a_second_worker_while_it_may_run() -> None:
    longest = max(task.time_limit or APP.conf.task_time_limit for task in APP.tasks.values())
    assert longest == APP.tasks["ledger.verify"].time_limit > APP.conf.task_time_limit
    assert APP.conf.broker_transport_options["visibility_timeout"] > longest
    with APP.connection_for_read() as wire:
        channel = wire.default_channel
        assert channel.visibility_timeout == settings.LONGEST_TASK_S + 300


def test_each_task_is_told_to_stop_before_it_is_killed() -> None:
    for task in APP.tasks.values():
        soft = task.soft_time_limit or APP.conf.task_soft_time_limit
        assert soft < (task.time_limit or APP.conf.task_time_limit), task.name


def test_the_worker_shows_that_it_lives_after_each_co_op(redis_server: Broker) -> None:
    open_bench()
    seen: list[int] = []
    verifying.verify_all(between=lambda: seen.append(1))
    assert len(seen) == len(all_coops())
    outbox._redis.cache_clear()
    outbox._redis().delete("stillroom:worker")
    tasks.verify()
    assert outbox.worker_alive()


def test_old_work_is_forgotten_whatever_becomes_of_the_proof() -> None:
    bench = open_bench()
    with acting_as(bench.actor):
        Outbox.objects.create(
            coop=bench.coop,
            maker=bench.maker,
            task="tests.old",
            subject=bench.maker.id,
            done_at=now() - timedelta(days=99),
        )
    tasks.forget()
    assert bench.owed(task="tests.old") == []


def shown(setting: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute(f"show {setting}")
        return str(cursor.fetchone()[0])


def test_only_what_nobody_waits_for_may_take_its_time() -> None:
    assert shown("statement_timeout") == "30s"
    with unhurried():
        assert shown("statement_timeout") == "0"
    assert shown("statement_timeout") == "30s"
