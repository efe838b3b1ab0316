"""The services that tests stand on: a PostgreSQL and a Redis of their own, and a whole server.

Their addresses are set before Django reads its settings; they start when a test first asks.

- `database`: the default connection is the application's role, whose walls hold.
  Nothing is rolled back or emptied between tests (postings cannot be, and the role may not):
  a test opens a co-op of its own and sees nothing of the others.
- `redis_server`: the broker and the rate limiter's store.
- `server`: the whole of `deploy/up`, on other data.
"""

import gc
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import django
import hypothesis
import pytest
from django.conf import settings
from pytest_django import DjangoDbBlocker
from xdist.remote import Producer

from deploy import embedded
from tests.migrated import migrated
from tests.running import Running
from tests.sharing_out import SharingOut, place

# Dozens of processes start here, and each would compile all of us anew.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
HOME = Path(tempfile.mkdtemp(prefix="stillroom-"))

# How long an example takes says how busy the machine is, and nothing about what is proved. The
# examples are the same each time, so that whoever changes nothing sees nothing fail; CHANCE=1
# tries others.
hypothesis.settings.register_profile(
    "unhurried",
    deadline=None,
    derandomize="CHANCE" not in os.environ,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)
hypothesis.settings.load_profile("unhurried")

if settings.configured:
    raise pytest.UsageError("Unset DJANGO_SETTINGS_MODULE: the tests choose their own services.")
SERVICES = {
    "DJANGO_SETTINGS_MODULE": "tests.settings",
    "DATABASE_URL": embedded.postgres_url(HOME, "stillroom"),
    "DATABASE_OWNER_URL": embedded.postgres_url(HOME, "stillroom_owner"),
    "REDIS_URL": embedded.redis_url(HOME),
    "SECRET_KEY": "a key that signs nothing outside these tests",
}
os.environ |= SERVICES


def pytest_configure(config: pytest.Config) -> None:
    """Django reads its settings now, with the addresses above, and before any test is read.

    Who only hands the tests out to others runs none: each of those has services of its own.
    """
    if config.getoption("numprocesses", None):
        for name in SERVICES:
            del os.environ[name]
    else:
        django.setup()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest come first."""
    items.sort(key=lambda item: place(item.nodeid))


def pytest_collection_finish() -> None:
    """What stands until the end is not looked through again and again for what may go."""
    gc.collect()
    gc.freeze()


def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> SharingOut:
    """Whoever runs tests side by side shares them out in our way."""
    config.option.loadscopereorder = False
    return SharingOut(config, log)


def pytest_unconfigure() -> None:
    """Leave nothing behind."""
    shutil.rmtree(HOME, ignore_errors=True)


@pytest.fixture(scope="session")
def postgres() -> Iterator[embedded.Server]:
    """A PostgreSQL with the roles and a migrated database."""
    server = embedded.start_postgres(migrated(HOME))
    yield server
    server.process.stop()


@pytest.fixture(scope="session")
def redis_server() -> Iterator[embedded.Broker]:
    """A Redis."""
    broker = embedded.start_redis(HOME)
    yield broker
    broker.process.stop()


@pytest.fixture(scope="session")
def database(
    postgres: embedded.Server, django_db_blocker: DjangoDbBlocker
) -> Iterator[embedded.Server]:
    """The database, open to the tests as the application's role."""
    from django.db import connections

    with django_db_blocker.unblock():
        yield postgres
        connections.close_all()


@pytest.fixture(scope="session")
def server() -> Iterator[Running]:
    """The whole server, without the demo. What its rate hides would not be seen."""
    ours = {"DJANGO_SETTINGS_MODULE": "tests.settings", "STILLROOM_RATE_PER_MINUTE": "1000000"}
    running = Running(migrated(HOME / "server"), ours)
    yield running.wait_ready()
    running.discard()
