"""PostgreSQL and the web server are killed under load: what was acknowledged stands, once.

Whoever was not answered asks again with the same key, and then everything has happened once.
"""

import random
import signal
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from decimal import Decimal
from http.client import HTTPException
from pathlib import Path
from typing import Any

import psutil
import pytest

from tests.api.client import Answer, Client, open_coop
from tests.migrated import migrated
from tests.running import Running

D = Decimal
SEED, LOADERS = 20250506, 4
BEFORE_S, AFTER_S = 1.0, 3.0


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    """A server that may be killed, with a rate that no load reaches."""
    data = migrated(tmp_path / "server", durable=True)
    running = Running(data, {"STILLROOM_RATE_PER_MINUTE": "1000000"})
    yield running.wait_ready()
    running.discard()


@dataclass
class Act:
    """One issue with its key; `entries` are those that it was told of."""

    key: str
    body: dict[str, Any]
    entries: set[str] = field(default_factory=set)

    def send(self, client: Client) -> Answer | None:
        """Ask once; None if nobody answered."""
        try:
            answer = client.post("issues", self.body, self.key)
        except (OSError, HTTPException):
            return None
        if answer.status == 201:
            self.entries.add(answer.json["entry"])
        return answer


class Load:
    """Clients that issue from one lot, one act after the other, until they are told to stop."""

    def __init__(self, client: Client, lot: str) -> None:
        self.client, self.lot = client, lot
        self.acts: list[Act] = []
        self.answered: list[int] = []
        self.over = threading.Event()
        self.threads = [threading.Thread(target=self._run, args=[n]) for n in range(LOADERS)]

    def _run(self, number: int) -> None:
        client, choose = self.client.another(), random.Random(SEED + number)
        while not self.over.is_set():
            quantity = f"{choose.randint(1, 9)} g"
            lines = [{"lot": self.lot, "quantity": quantity}]
            act = Act(str(uuid.uuid4()), {"lines": lines, "purpose": "gift", "reason": "load"})
            self.acts.append(act)
            answer = act.send(client)
            if answer is None:
                time.sleep(0.05)
            else:
                self.answered.append(answer.status)
                # The other tests need the machine as well.
                time.sleep(0.01)

    def __enter__(self) -> "Load":
        for thread in self.threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.over.set()
        for thread in self.threads:
            thread.join(60)

    @property
    def done(self) -> int:
        return sum(1 for act in self.acts if act.entries)


def kill(process: psutil.Process) -> None:
    """A process and all that it started, at once and without a word to any."""
    family = [process, *process.children(recursive=True)]
    for one in family:
        with suppress(psutil.NoSuchProcess):
            one.send_signal(signal.SIGKILL)
    psutil.wait_procs(family, timeout=60)


def wait_until(look: Any, within_s: float = 60) -> None:
    end = time.monotonic() + within_s
    while not look():
        assert time.monotonic() < end, "it does not come back"
        time.sleep(0.1)


def answers(client: Client) -> bool:
    try:
        return client.get("suppliers", limit=1).status == 200
    except (OSError, HTTPException):
        return False


def test_what_was_acknowledged_stands_once(running: Running) -> None:
    north = open_coop(running, "North Bench")["North Bench"]
    material = north.material("Glycerin")
    lot = north.receive(material, "1000 kg", "10000.00")
    with Load(north, lot) as load:
        choose = random.Random(SEED)
        for words in (("postgres", "-D"), ("granian",), ("postgres", "-D"), ("granian",)):
            reached = load.done
            wait_until(lambda reached=reached: load.done > reached + 20)
            time.sleep(choose.uniform(0, BEFORE_S))
            kill(running.child(*words))
            wait_until(lambda: answers(north))
    assert running.killed() == ["postgres", "web", "postgres", "web"], running.output
    unsure = [act for act in load.acts if not act.entries]
    assert unsure, "nobody was interrupted, so nothing was shown"
    # An answer that came says what is so: done, or unavailable. A fault would be ours.
    assert set(load.answered) <= {201, 503}, set(load.answered)
    again(north, unsure)
    once(running, north, lot, load.acts)


def again(north: Client, unsure: list[Act]) -> None:
    """Ask for everything again that was not acknowledged, until it is."""
    for act in unsure:
        wait_until(lambda act=act: (told := act.send(north)) is not None and told.status == 201)


def once(running: Running, north: Client, lot: str, acts: list[Act]) -> None:
    """Every act has one entry, every entry is of one act, and the books agree."""
    assert all(len(act.entries) == 1 for act in acts)
    entries = {row["id"] for row in north.listed("entries", lot=lot, kind="issue")}
    assert entries == {entry for act in acts for entry in act.entries}
    assert len(entries) == len(acts)
    grams = sum(int(act.body["lines"][0]["quantity"].split()[0]) for act in acts)
    left = D(north.get(f"lots/{lot}").made()["on_hand"]["grams"])
    assert left == D(1_000_000) - grams
    checked = running.command("verify_ledger")
    assert checked.returncode == 0, checked.stdout + checked.stderr
    # Whoever still asks with an old key is told of the old act.
    replayed = north.post("issues", acts[0].body, acts[0].key)
    assert replayed.headers["Replayed"] == "true"
    assert {replayed.json["entry"]} == acts[0].entries
