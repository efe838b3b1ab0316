"""The commands of whoever runs the server."""

import os
import subprocess
import sys
import uuid
from pathlib import Path

import psycopg
import pytest
from django.contrib.auth import get_user_model
from django.db import transaction

from deploy.embedded import Server
from ledger.access import acting_as, set_walls
from ledger.makers import actor_for, all_coops
from ledger.models import Coop, Maker, Membership
from tests.ledger.bench import Bench, open_bench

pytestmark = pytest.mark.usefixtures("database")
ROOT = Path(__file__).resolve().parents[2]
PASSWORD = "four gallons of glycerin"


def manage(*words: str, password: str | None = PASSWORD) -> subprocess.CompletedProcess[str]:
    environ = dict(os.environ)
    if password is not None:
        environ["BENCH_PASSWORD"] = password
    return subprocess.run(
        [sys.executable, ROOT / "manage.py", *words],
        env=environ,
        capture_output=True,
        text=True,
        check=False,
    )


def open_coop(user: str, *more: str, password: str | None = PASSWORD) -> tuple[int, str, str]:
    ran = manage(
        "open_coop",
        *("--name", f"Harbour Makers {uuid.uuid4()}", "--currency", "USD", "--time-zone", "UTC"),
        *("--coordinator", user, "--password-env", "BENCH_PASSWORD", *more),
        password=password,
    )
    return ran.returncode, ran.stdout, ran.stderr


def new_name() -> str:
    return f"user-{uuid.uuid4()}"


def test_a_co_op_and_a_maker_are_opened() -> None:
    coordinator, owner = new_name(), new_name()
    code, out, err = open_coop(coordinator)
    assert (code, err) == (0, "")
    slug = out.splitlines()[-1]
    coop_id = {known: id for id, known in all_coops()}[slug]

    ran = manage(
        "open_maker",
        *("--coop", slug, "--name", "North Bench", "--owner", owner),
        *("--password-env", "BENCH_PASSWORD", "--email", "owner@example.org"),
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    person = get_user_model().objects.get(username=owner)
    assert person.check_password(PASSWORD)
    assert person.email == "owner@example.org"
    with transaction.atomic():
        set_walls(coop_id, None)
        coop, maker = Coop.objects.get(), Maker.objects.get()
    assert (coop.currency, coop.time_zone) == ("USD", "UTC")
    assert (maker.name, str(maker.id)) == ("North Bench", ran.stdout.splitlines()[-1])
    with acting_as(actor_for(coop, maker.id, person.pk, "owner")):
        assert Membership.objects.filter(maker=maker, person_id=person.pk).exists()


def test_a_known_person_keeps_the_password() -> None:
    user = new_name()
    assert open_coop(user)[0] == 0
    assert open_coop(user, password="something else entirely")[0] == 0
    assert get_user_model().objects.get(username=user).check_password(PASSWORD)


@pytest.mark.parametrize(
    ("password", "more", "words"),
    [
        (None, (), "Set the environment variable BENCH_PASSWORD"),
        ("", (), "Set the environment variable BENCH_PASSWORD"),
        ("short", (), "too short"),
        (PASSWORD, ("--currency", "ABC"), "ISO 4217"),
        (PASSWORD, ("--time-zone", "Nowhere"), "time zone"),
        (PASSWORD, ("--name", " "), "A name has"),
    ],
)
def test_what_is_refused_is_said_and_leaves_nothing_behind(
    password: str | None, more: tuple[str, ...], words: str
) -> None:
    user, before = new_name(), all_coops()
    code, out, err = open_coop(user, *more, password=password)
    assert (code, out) == (1, "")
    assert words in err
    assert "Traceback" not in err
    assert all_coops() == before
    assert not get_user_model().objects.filter(username=user).exists()


def test_a_maker_needs_a_co_op_that_is_there() -> None:
    user = new_name()
    ran = manage(
        "open_maker",
        *("--coop", "nowhere", "--name", "North Bench", "--owner", user),
        *("--password-env", "BENCH_PASSWORD"),
    )
    assert ran.returncode == 1
    assert "There is no co-op 'nowhere'; open_coop prints its short name on its last" in ran.stderr
    assert not get_user_model().objects.filter(username=user).exists()


@pytest.fixture
def stocked() -> Bench:
    bench = open_bench()
    lot = bench.lot(bench.material(), "1000", value="25")
    bench.spill(lot, "100")
    return bench


def test_a_sound_ledger_verifies_with_one_line_of_counts(stocked: Bench) -> None:
    ran = manage("verify_ledger")
    assert (ran.returncode, ran.stderr) == (0, ""), ran.stdout
    (line,) = ran.stdout.splitlines()
    counts = dict(part.rsplit(" ", 1) for part in line.split(", "))
    assert list(counts) == [
        "co-ops",
        "makers",
        "lots",
        "entries",
        "postings",
        "holdings",
        "tasks parked",
        "disagreements",
    ]
    assert int(counts["co-ops"]) == len(all_coops())
    assert int(counts["entries"]) >= 2
    assert int(counts["postings"]) >= 4
    assert counts["disagreements"] == "0"


@pytest.mark.parametrize(
    ("damage", "rule"),
    [
        ("update ledger_holding set quantity = quantity + %s", "holding equals its postings"),
        ("update ledger_layer set value = value + %s", "layer equals its postings"),
    ],
)
def test_each_disagreement_is_said(
    stocked: Bench, database: Server, damage: str, rule: str
) -> None:
    where = damage + " where coop_id = %s and quantity = 900"
    with psycopg.connect(database.url_admin) as admin:
        assert admin.execute(where, [1, stocked.coop.id]).rowcount == 1
    try:
        ran = manage("verify_ledger")
    finally:
        with psycopg.connect(database.url_admin) as admin:
            admin.execute(where.replace("= 900", "in (900, 901)"), [-1, stocked.coop.id])
    assert ran.returncode == 1
    lines = ran.stdout.splitlines()
    assert any(line.startswith(f"{stocked.coop.slug}: {rule}: ") for line in lines)
    assert [line for line in lines if not line.startswith(f"{stocked.coop.slug}: ")] == []
    assert manage("verify_ledger").returncode == 0
