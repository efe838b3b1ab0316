"""From a posting to the mail that tells of it: one after another, the worker idle before each."""

import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psycopg

from tests.api.client import open_coop
from tests.benchmarks.bench import Options, as_superuser
from tests.benchmarks.report import Row, percentile, say
from tests.races.post_office import PostOffice
from tests.running import Running

POSTINGS = 200
TARGET_S = 2.0
ADDRESS = "stock@example.org"
PATIENCE_S, LOOK_S = 60, 0.002
WAITING = "select count(*) from ledger_outbox where done_at is null and due_at <= now()"


def measure(server: Running, options: Options) -> list[Row]:
    """On a server of its own, whose mail comes to us; the other one rests meanwhile."""
    # A hundredth of all is told from a hundred on.
    postings = POSTINGS if options.rounds >= Options().rounds else POSTINGS // 5
    with PostOffice() as office:
        home = Path(tempfile.mkdtemp(prefix="stillroom-bench-mail-"))
        own = Running(
            home, {"EMAIL_URL": office.url, "STILLROOM_RATE_PER_MINUTE": str(10**9)}
        ).wait_ready(300)
        try:
            took = _mailed(own, office, postings)
        finally:
            own.discard()
    middle, last = percentile(took, 50), percentile(took, 99)
    return [
        Row(
            f"from a posting to its mail handed over, p99 of {postings}",
            f"{last:.2f} s, p50 {middle:.2f} s",
            target=f"<= {TARGET_S:.0f} s",
            met=last <= TARGET_S,
        )
    ]


def _mailed(server: Running, office: PostOffice, postings: int) -> list[float]:
    """The seconds from asking to post until the mail was taken; what is posted commits later."""
    maker = open_coop(server, "North Bench")["North Bench"]
    maker.post("alert-receivers", {"mail": ADDRESS}).made()
    say(f"  receiving {postings} materials …")
    lots = []
    for number in range(postings):
        material = maker.material(f"Oil {number}")
        lots.append(maker.receive(material, "1 kg", "10.00"))
        maker.change("PUT", f"watches/{material}", {"reorder_point": "998 g"}).made()
    took = []
    with psycopg.connect(as_superuser(server), autocommit=True) as admin:
        for number, lot in enumerate(lots, 1):
            _until(lambda: not _waiting(admin))
            body = {
                "purpose": "gift",
                "reason": "a sample",
                "lines": [{"lot": lot, "quantity": "2 g"}],
                "happened_at": datetime.now(UTC).isoformat(),
            }
            start = time.monotonic()
            maker.post("issues", body).made()
            _until(lambda number=number: len(office.taken_at) >= number)  # type: ignore[misc]
            took.append(office.taken_at[number - 1] - start)
    return took


def _until(look: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not look():
        if time.monotonic() > end:
            raise AssertionError(f"not within {PATIENCE_S} s")
        time.sleep(LOOK_S)


def _waiting(admin: psycopg.Connection[Any]) -> bool:
    """Whether the worker has anything to do."""
    (owed,) = admin.execute(WAITING).fetchone() or (0,)
    return bool(owed)
