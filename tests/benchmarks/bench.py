"""The server that is measured, and a maker's stock on it."""

import itertools
import os
import random
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import UUID

import django
import psycopg
from django.db import connection

from tests.api.client import Client, Coop, open_coop
from tests.running import Running

if TYPE_CHECKING:
    from ledger.access import Actor

SETTINGS = "tests.benchmarks.settings"
NO_RATE = str(10**9)
MATERIALS, LOTS_EACH = 500, 2
# More than anyone draws in a run.
FULL_G = Decimal(10_000_000)
_codes = itertools.count(1)


@dataclass(frozen=True)
class Options:
    """How long and how often is measured."""

    seconds: float = 3.0
    rounds: int = 5
    many_postings: int = 1_000_000

    @classmethod
    def quick(cls) -> "Options":
        """For a look, not for a judgement."""
        return cls(seconds=1.0, rounds=3, many_postings=100_000)


@contextmanager
def running() -> Iterator[Running]:
    """The whole server on a data directory of its own, with Django here on its database."""
    home = Path(tempfile.mkdtemp(prefix="stillroom-bench-"))
    server = Running(
        home,
        {
            "DJANGO_SETTINGS_MODULE": SETTINGS,
            "STILLROOM_RATE_PER_MINUTE": NO_RATE,
        },
    ).wait_ready(300)
    try:
        # The settings find the services of the server that runs on this directory.
        os.environ |= {"STILLROOM_DATA": str(home), "DJANGO_SETTINGS_MODULE": SETTINGS}
        # Pages are asked for in this process, too, and no answer of theirs is a refusal.
        os.environ["STILLROOM_RATE_PER_MINUTE"] = NO_RATE
        django.setup()
        # So that what is sent from here knows its broker.
        import deploy.celery  # noqa: F401

        yield server
        connection.close()
    finally:
        server.discard()


@dataclass(frozen=True)
class Stock:
    """A maker with released lots of many materials."""

    client: Client
    coop_id: UUID
    maker_id: UUID
    person_id: int
    materials: list[UUID]
    lots: list[UUID]

    def actor(self) -> "Actor":
        """The owner at work."""
        from ledger.access import Actor

        return Actor(self.person_id, self.coop_id, self.maker_id, "owner", "USD", "UTC")

    def some_lots(self, number: int) -> list[UUID]:
        """So many lots, each of another material."""
        return [
            self.lots[material * LOTS_EACH + random.randrange(LOTS_EACH)]
            for material in random.sample(range(len(self.materials)), number)
        ]


def stocked(
    server: Running,
    materials: int = MATERIALS,
    lots_each: int = LOTS_EACH,
    *,
    watched: bool = False,
) -> Stock:
    """Open a co-op and put the stock on its shelf; whatever is watched owes a check when moved."""
    coop = open_coop(server, "North Bench")
    client = coop["North Bench"]
    person_id = _person(coop)
    with connection.cursor() as cursor:
        cursor.execute(
            "select coop_id, maker_id from api_memberships(%s) where maker_id is not null",
            [person_id],
        )
        coop_id, maker_id = cursor.fetchone()
    stock = Stock(client, coop_id, maker_id, person_id, [], [])
    _fill(stock, materials, lots_each)
    if watched:
        _watch(stock)
    analyze(server)
    return stock


def _person(coop: Coop) -> int:
    from django.contrib.auth import get_user_model

    owner = get_user_model().objects.get(username=coop.owners["North Bench"])
    return int(owner.pk)


def _fill(stock: Stock, materials: int, lots_each: int) -> None:
    from ledger.access import acting_as
    from ledger.entries import Move, account, post_entry
    from ledger.models import Account, Custody, Entry, Lot, Material

    actor = stock.actor()
    own = {"coop_id": stock.coop_id, "maker_id": stock.maker_id}
    today = datetime.now(UTC)
    with acting_as(actor):
        made = Material.objects.bulk_create(
            Material(coop_id=stock.coop_id, name=f"Oil {next(_codes)}", measured_by="mass")
            for _ in range(materials)
        )
        lots = Lot.objects.bulk_create(
            Lot(
                coop_id=stock.coop_id,
                code=f"B{next(_codes)}",
                material=material,
                origin_id=stock.maker_id,
                supplier_lot="S-1",
                arrived_on=today.date(),
                expires_on=today.date() + timedelta(days=700),
            )
            for material in made
            for _ in range(lots_each)
        )
        Custody.objects.bulk_create(
            Custody(lot=lot, material_id=lot.material_id, status="released", **own) for lot in lots
        )
        opening = account(actor, Account.Kind.OPENING, "opening stock")
        store = account(actor, Account.Kind.STORE, "store")
        for first in range(0, len(lots), 200):
            moves = [
                Move(opening, store, lot.id, FULL_G, Decimal(50_000))
                for lot in lots[first : first + 200]
            ]
            post_entry(actor, kind=Entry.Kind.OPENING, happened_at=today, moves=moves)
    stock.materials.extend(material.id for material in made)
    stock.lots.extend(lot.id for lot in lots)


def _watch(stock: Stock) -> None:
    from ledger.access import acting_as
    from ledger.models import Watch

    own = {"coop_id": stock.coop_id, "maker_id": stock.maker_id}
    with acting_as(stock.actor()):
        Watch.objects.bulk_create(
            Watch(material_id=material, reorder_point=Decimal(1000), entered="1 kg", **own)
            for material in stock.materials
        )


def today() -> date:
    """The day it is, where the benches are."""
    return datetime.now(UTC).date()


def analyze(server: Running) -> None:
    """What PostgreSQL does by itself within seconds, done now."""
    with psycopg.connect(as_superuser(server), autocommit=True) as admin:
        admin.execute("vacuum analyze")


def as_superuser(server: Running) -> str:
    """The database's address for whoever makes floors in it."""
    from deploy import embedded

    return embedded.postgres_url(server.data, "postgres")
