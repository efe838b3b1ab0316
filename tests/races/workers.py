"""Real worker and beat processes, started as the server starts them, on the tests' services."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import IO

import psutil

ROOT = Path(__file__).resolve().parents[2]


class Workers:
    """One worker and, if wanted, one beat; `stop` ends whatever still runs."""

    def __init__(self, home: Path, **environ: str) -> None:
        self.home = home
        self.environ = {**os.environ, "PYTHONPATH": str(ROOT), **environ}
        self.log = home / "workers.log"
        self.worker: subprocess.Popen[bytes] | None = None
        self.beat: subprocess.Popen[bytes] | None = None

    def start_worker(self) -> None:
        """Start a worker and wait until it listens."""
        words = ["deploy.celery:app", "worker", "--loglevel", "INFO", "--concurrency", "1"]
        started = self._said(" ready.")
        self.worker = self._start(*words, "--without-gossip", "--without-mingle")
        wait_for(lambda: self._said(" ready.") > started, self.told)

    def start_beat(self) -> None:
        """Start the clock that reminds the worker."""
        schedule = str(self.home / "beat-schedule")
        self.beat = self._start(
            "deploy.beat:app", "beat", "--loglevel", "INFO", "--pidfile", "", "--schedule", schedule
        )

    def kill_worker(self) -> None:
        """SIGKILL to the worker and to the child that does its work, at once."""
        assert self.worker is not None
        os.killpg(self.worker.pid, signal.SIGKILL)
        self.worker.wait()

    def kill_child(self) -> None:
        """SIGKILL only to the child that does the work; the worker starts another."""
        assert self.worker is not None
        (child,) = psutil.Process(self.worker.pid).children()
        child.kill()

    def stop(self) -> None:
        """End both, and whatever they left."""
        for process in (self.beat, self.worker):
            if process is not None:
                try:
                    os.killpg(process.pid, signal.SIGKILL)
                except ProcessLookupError:
                    continue
                finally:
                    process.wait()

    def told(self) -> str:
        """The end of their log."""
        return self.log.read_text(errors="replace")[-4000:] if self.log.exists() else ""

    def _said(self, words: str) -> int:
        return self.log.read_text(errors="replace").count(words) if self.log.exists() else 0

    def _start(self, app: str, *words: str) -> "subprocess.Popen[bytes]":
        log: IO[bytes] = self.log.open("ab")
        with log:
            return subprocess.Popen(
                [sys.executable, "-m", "celery", "-A", app, *words],
                cwd=self.home,
                env=self.environ,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )


def wait_for(look: Callable[[], object], told: Callable[[], str], within_s: int = 90) -> None:
    """Wait until `look` is true; what was `told` is shown when it does not become so."""
    end = time.monotonic() + within_s
    while not look():
        assert time.monotonic() < end, f"not within {within_s} s:\n{told()}"
        time.sleep(0.05)
