"""The whole server, started as an operator starts it, on a data directory and port of its own."""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import IO

import psutil

from tests.managing import Commands

ROOT = Path(__file__).resolve().parent.parent
SERVICE_VARIABLES = (
    "DATABASE_URL",
    "DATABASE_OWNER_URL",
    "DJANGO_SETTINGS_MODULE",
    "REDIS_URL",
    "SECRET_KEY",
)


def free_port() -> int:
    """A port that nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def clean_environment(**more: str) -> dict[str, str]:
    """Ours without the addresses of the tests' own services."""
    kept = {name: value for name, value in os.environ.items() if name not in SERVICE_VARIABLES}
    return {**kept, **more}


class Running:
    """A server that `deploy/up` started; `stop()` it, or `kill()` only its supervisor."""

    def __init__(
        self, data: Path, environ: Mapping[str, str] | None = None, port: int | None = None
    ) -> None:
        self.data = data
        self.port = port or free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        usual = {"STILLROOM_DEMO": "0", "PORT": str(self.port), "STILLROOM_DATA": str(data)}
        self.environ = clean_environment(**{**usual, **(environ or {})})
        self.lines: list[str] = []
        self.commands: Commands | None = None
        self.process = subprocess.Popen(
            [ROOT / "deploy" / "up"],
            env=self.environ,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        assert self.process.stdout is not None
        self.reader = threading.Thread(target=self._read, args=(self.process.stdout,), daemon=True)
        self.reader.start()

    def _read(self, stream: IO[str]) -> None:
        for line in stream:
            self.lines.append(line.rstrip("\n"))

    @property
    def output(self) -> str:
        """All that it has said."""
        return "\n".join(self.lines)

    def killed(self) -> list[str]:
        """The services that were killed and are started again, in turn, as it has said.

        A worker may also end by itself when its broker goes, and is started again like any.
        """
        return re.findall(r"(\w+) ended \(-9\); starting it again", self.output)

    def wait_ready(self, within_s: int = 180) -> "Running":
        """Wait for its line `ready …`."""
        end = time.monotonic() + within_s
        while f"ready {self.url}" not in self.lines:
            assert self.process.poll() is None, self.output
            assert time.monotonic() < end, f"not ready after {within_s} s:\n{self.output}"
            time.sleep(0.02)
        return self

    def family(self) -> list[psutil.Process]:
        """Every process it has started, and their children."""
        return psutil.Process(self.process.pid).children(recursive=True)

    def child(self, *words: str) -> psutil.Process:
        """The direct child whose command line holds all the words; waits until there is one."""
        end = time.monotonic() + 60
        while time.monotonic() < end:
            for child in psutil.Process(self.process.pid).children():
                try:
                    line = " ".join(child.cmdline())
                except psutil.Error:
                    continue
                if all(word in line for word in words):
                    return child
            time.sleep(0.05)
        raise AssertionError(f"no child with {words}:\n{self.output}")

    def manage(self, *words: str, **environ: str) -> subprocess.CompletedProcess[str]:
        """A command of `manage.py`, which finds the server by its data directory alone."""
        return subprocess.run(
            [sys.executable, ROOT / "manage.py", *words],
            env={**self.environ, **environ},
            capture_output=True,
            text=True,
            check=False,
        )

    def command(self, *words: str, **environ: str) -> subprocess.CompletedProcess[str]:
        """The same in a process that stays until the server ends, and loads Django once."""
        if self.commands is None:
            self.commands = Commands(self.environ)
        return self.commands.run(*words, **environ)

    def wait_end(self, within_s: int = 60) -> int:
        """Its exit code, when it has ended."""
        if self.commands is not None:
            self.commands.close()
            self.commands = None
        code = self.process.wait(within_s)
        self.reader.join(5)
        return code

    def stop(self, number: signal.Signals = signal.SIGTERM) -> int:
        """Ask it to stop; its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(number)
        return self.wait_end()

    def discard(self) -> None:
        """End it at once and remove its data, which nobody reads any more."""
        if self.process.poll() is None:
            # Whoever starts again what has died must not.
            self.process.send_signal(signal.SIGSTOP)
            family = self.family()
            for one in family:
                with suppress(psutil.NoSuchProcess):
                    # PostgreSQL gives back what it shares; the rest has nothing to give.
                    one.send_signal(signal.SIGQUIT if "postgres" in one.name() else signal.SIGKILL)
            self.process.kill()
            psutil.wait_procs(family, timeout=60)
        self.wait_end()
        shutil.rmtree(self.data, ignore_errors=True)
