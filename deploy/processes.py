"""Child processes that live no longer than their parent, and are stopped with a deadline.

Standard library only: the supervisor imports this and stays small.
"""

import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

PR_SET_PDEATHSIG = 1
LOG_LIMIT_BYTES = 10_000_000


class Failed(Exception):
    """Something that must run does not; the text says what and where to look."""


@dataclass(frozen=True)
class Account:
    """A system user that a child runs as."""

    uid: int
    gid: int


@dataclass(frozen=True)
class Service:
    """How to run one child: the command, where its words go, and how it is asked to stop."""

    name: str
    command: Sequence[str]
    log: Path
    environment: Mapping[str, str] = field(default_factory=dict)
    account: Account | None = None
    stop_signal: signal.Signals = signal.SIGTERM
    deadline_s: int = 10
    # Whether to ask its children as well, again and again: for a program whose own children may
    # not hear a signal that comes while they start.
    insist: bool = False
    # Whether what it prints is for whoever watches the terminal; its log has the errors then.
    shown: bool = False


def _die_with_parent(stop_signal: signal.Signals) -> Callable[[], None] | None:
    """Have the kernel stop the child should its parent be killed; only Linux can."""
    if sys.platform != "linux":
        return None
    prctl = ctypes.CDLL(None, use_errno=True).prctl
    parent = os.getpid()

    def before_exec() -> None:
        prctl(PR_SET_PDEATHSIG, int(stop_signal))
        if os.getppid() != parent:
            os._exit(1)

    return before_exec


class Child:
    """One running service, in a process group of its own."""

    def __init__(self, service: Service) -> None:
        self.service = service
        self.started = time.monotonic()
        _turn_over(service.log)
        account = service.account
        with service.log.open("ab") as log:
            self.process = subprocess.Popen(
                service.command,
                stdin=subprocess.DEVNULL,
                stdout=sys.stderr if service.shown else log,
                stderr=log,
                env={**os.environ, **service.environment},
                # Another user may not be allowed where we are.
                cwd="/" if account else None,
                start_new_session=True,
                user=account.uid if account else None,
                group=account.gid if account else None,
                extra_groups=[] if account else None,
                # The supervisor has one thread, and a lock held by another cannot be copied.
                preexec_fn=_die_with_parent(service.stop_signal),  # noqa: PLW1509
            )

    @property
    def pid(self) -> int:
        """The process id, which is that of its process group as well."""
        return self.process.pid

    def alive(self) -> bool:
        """Whether it still runs."""
        return self.process.poll() is None

    def sweep(self) -> None:
        """Kill what is left of the group, so that no orphan holds the port or takes a task."""
        try:
            os.killpg(self.pid, signal.SIGKILL)
        except (ProcessLookupError, PermissionError):
            return

    def stop(self) -> None:
        """Ask, wait until the deadline, then kill; returns when the child is gone."""
        end = time.monotonic() + self.service.deadline_s
        if self.alive():
            self.process.send_signal(self.service.stop_signal)
        while not self._ended_within(0.5) and time.monotonic() < end:
            if self.service.insist:
                os.killpg(self.pid, self.service.stop_signal)
        if self.alive():
            self.process.kill()
            self.process.wait()
        self.sweep()

    def _ended_within(self, seconds: float) -> bool:
        try:
            self.process.wait(seconds)
        except subprocess.TimeoutExpired:
            return False
        return True

    def last_words(self, lines: int = 12) -> str:
        """The end of its log."""
        return tail(self.service.log, lines)


def wait_until(
    ready: Callable[[], bool], *, child: Child, within_s: float, go_on: Callable[[], bool]
) -> bool:
    """Wait for `ready`; False when `go_on` says to stop waiting.

    Raises Failed when the child ends or the time is over.
    """
    name, end = child.service.name, time.monotonic() + within_s
    while go_on():
        if ready():
            return True
        if not child.alive():
            raise Failed(f"{name} did not start:\n{child.last_words()}")
        if time.monotonic() > end:
            raise Failed(f"{name} was not ready after {within_s:.0f} s:\n{child.last_words()}")
        time.sleep(0.02)
    return False


def tail(log: Path, lines: int) -> str:
    """The last `lines` of a log, read from its end."""
    with log.open("rb") as file:
        file.seek(max(0, log.stat().st_size - 8192))
        text = file.read().decode(errors="replace")
    return "\n".join(text.splitlines()[-lines:])


def _turn_over(log: Path) -> None:
    """Begin a new log when the old one has grown large; one old one is kept."""
    if log.exists() and log.stat().st_size > LOG_LIMIT_BYTES:
        log.replace(log.with_name(log.name + ".1"))
