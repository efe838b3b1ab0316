"""The application's connections: who they may be, and how long they wait."""

import copy
import os
import subprocess
import sys
from collections.abc import Sequence

import psycopg
import pytest
from django.db import OperationalError, connection
from django.db.backends.postgresql.base import DatabaseWrapper

from api import errors
from deploy import prepare
from deploy.embedded import Broker, Server
from tests.running import ROOT

LIMITS = {
    "statement_timeout": "30s",
    "lock_timeout": "10s",
    "idle_in_transaction_session_timeout": "1min",
}
NONE = dict.fromkeys(LIMITS, "0")


def limits_of(wire: DatabaseWrapper) -> dict[str, str]:
    found = {}
    for name in LIMITS:
        with wire.cursor() as cursor:
            cursor.execute(f"show {name}")
            found[name] = str(cursor.fetchone()[0])
    return found


@pytest.mark.usefixtures("database")
def test_a_connection_has_its_limits_and_keeps_them() -> None:
    connection.close()
    assert limits_of(connection) == LIMITS  # type: ignore[arg-type]
    with connection.cursor() as cursor:
        cursor.execute("set statement_timeout = 0")
        cursor.execute("discard all")
    assert limits_of(connection) == LIMITS  # type: ignore[arg-type]


@pytest.mark.usefixtures("database")
def test_a_shared_connection_has_them_too() -> None:
    settings = copy.deepcopy(connection.settings_dict)
    settings["CONN_MAX_AGE"] = 0
    settings["OPTIONS"]["pool"] = {"min_size": 1, "max_size": 1}
    shared = DatabaseWrapper(settings, alias="shared")
    try:
        for _ in range(2):
            assert limits_of(shared) == LIMITS
            shared.close()
    finally:
        shared.close_pool()


@pytest.mark.usefixtures("database")
def test_a_connection_that_the_server_ended_is_not_used_again(database: Server) -> None:
    connection.close()
    with connection.cursor() as cursor:
        cursor.execute("select pg_backend_pid()")
        (process,) = cursor.fetchone()
    assert connection.is_usable()
    with psycopg.connect(database.url_admin) as other:
        other.execute("select pg_terminate_backend(%s, 5000)", [process])
    assert not connection.is_usable()
    # As at the start of every request.
    connection.close_if_unusable_or_obsolete()
    connection.health_check_done = False  # type: ignore[attr-defined]
    with connection.cursor() as cursor:
        cursor.execute("select pg_backend_pid()")
        assert cursor.fetchone() != (process,)


@pytest.mark.usefixtures("database")
def test_the_owner_migrates_without_haste() -> None:
    with prepare.as_owner():
        assert limits_of(connection) == NONE  # type: ignore[arg-type]


@pytest.mark.usefixtures("database")
@pytest.mark.parametrize(
    ("statement", "state"),
    [("select pg_sleep(5)", "57014"), ("select count(*) from auth_user", "55P03")],
)
def test_what_took_too_long_is_busy(database: Server, statement: str, state: str) -> None:
    connection.close()
    with psycopg.connect(database.url_admin) as other, connection.cursor() as cursor:
        other.execute("lock table auth_user in access exclusive mode")
        cursor.execute("set statement_timeout = '300ms'")
        cursor.execute("set lock_timeout = '100ms'")
        with pytest.raises(OperationalError) as refused:
            cursor.execute(statement)
    connection.close()
    assert getattr(refused.value.__cause__, "sqlstate", "") == state
    answer = errors.handle(refused.value, {})
    assert answer is not None
    assert (answer.status_code, answer.data["errors"][0]["code"]) == (503, "busy")
    assert answer.headers["Retry-After"] == "2"


def test_a_database_that_is_not_there_is_unavailable() -> None:
    answer = errors.handle(OperationalError("connection refused"), {})
    assert answer is not None
    assert (answer.status_code, answer.data["errors"][0]["code"]) == (503, "unavailable")


WEB = ["-c", "import deploy.wsgi"]
WORKER = ["-m", "celery", "-A", "deploy.celery:app", "worker", "--concurrency", "1"]


def start(command: Sequence[str], url: str) -> "subprocess.CompletedProcess[str]":
    environ = {**os.environ, "DATABASE_URL": url, "PYTHONPATH": str(ROOT)}
    return subprocess.run(
        [sys.executable, *command],
        env=environ,
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.mark.usefixtures("redis_server")
@pytest.mark.parametrize("command", [WEB, WORKER], ids=["web", "worker"])
@pytest.mark.parametrize("role", ["postgres", "stillroom_owner"])
def test_nothing_starts_as_a_role_that_sees_through_the_walls(
    database: Server, command: list[str], role: str
) -> None:
    """However it is started: `deploy/up` is not asked here."""
    ran = start(command, database.url_app.replace("//stillroom@", f"//{role}@"))
    assert ran.returncode == 1
    assert f"The database role '{role}'" in ran.stderr


def test_the_web_server_starts_within_the_walls(database: Server, redis_server: Broker) -> None:
    assert start(WEB, database.url_app).returncode == 0
