"""Everything that `deploy/up` runs, started in order, healed when it dies, stopped in order.

Standard library only, so that the one process which does nothing but wait stays small.
"""

import fcntl
import http.client
import os
import signal
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

from deploy import embedded, environment
from deploy.processes import Child, Failed, Service, wait_until

LOOK_EVERY_S = 0.2
BACKOFF_S = (0.5, 1, 2, 4, 8)
STEADY_AFTER_S = 30
# How long each may take to stop, one after the other: whoever stops us must wait longer than all
# of it (the container's `stop_grace_period`). A worker finishes what it has begun, for as long as
# its soft shutdown allows.
DEADLINES_S = {"beat": 5, "worker": 30, "web": 15}


def say(text: str) -> None:
    """Tell whoever watches the terminal; standard output carries the one line `ready …`."""
    print(text, file=sys.stderr, flush=True)


class Keeper:
    """One child that must always run: restarts it after a pause that grows while it keeps dying."""

    def __init__(self, child: Child) -> None:
        self.child = child
        self.failures = 0
        self.again_at: float | None = None

    def look(self) -> None:
        """Notice a death, and start the child again when its pause is over."""
        if self.child.alive():
            return
        if self.again_at is None:
            self._bury()
        elif time.monotonic() >= self.again_at:
            self.again_at = None
            self.child = Child(self.child.service)

    def _bury(self) -> None:
        lived = time.monotonic() - self.child.started
        self.failures = 0 if lived > STEADY_AFTER_S else self.failures + 1
        pause = BACKOFF_S[min(self.failures, len(BACKOFF_S) - 1)]
        self.again_at = time.monotonic() + pause
        self.child.sweep()
        say(
            f"{self.child.service.name} ended ({self.child.process.returncode}); starting it "
            f"again in {pause:g} s. The end of {self.child.service.log}:\n"
            f"{self.child.last_words(5)}"
        )


class Supervisor:
    """The services of one data directory."""

    def __init__(self, home: Path, host: str, port: int) -> None:
        self.home, self.host, self.port = home, host, port
        self.stopping = False
        self.keepers: list[Keeper] = []
        self.values: dict[str, str] = {}

    def ask_to_stop(self, number: int, frame: FrameType | None) -> None:
        """What a signal does: every wait ends at its next look."""
        self.stopping = True

    def going(self) -> bool:
        """Whether nobody asked us to stop."""
        return not self.stopping

    def run(self) -> int:
        """Start everything, keep it running until asked to stop, stop everything."""
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            signal.signal(number, self.ask_to_stop)
        try:
            for step in (self.start_services, self.prepare, self.serve, self.start_workers):
                if self.going():
                    step()
            while self.going():
                time.sleep(LOOK_EVERY_S)
                for keeper in self.keepers:
                    keeper.look()
        except Failed as failure:
            say(str(failure))
            return 1
        finally:
            self.stop()
        return 0

    def start_services(self) -> None:
        """The database and the broker, unless the environment names others."""
        given = os.environ
        values = {"STILLROOM_DATA": str(self.home), "PORT": str(self.port)}
        values["SECRET_KEY"] = given.get("SECRET_KEY") or environment.secret_key(self.home)
        if given.get("DATABASE_URL"):
            owner = given.get("DATABASE_OWNER_URL")
            if not owner:
                raise Failed("With DATABASE_URL give DATABASE_OWNER_URL too: the owner migrates.")
            values |= {"DATABASE_URL": given["DATABASE_URL"], "DATABASE_OWNER_URL": owner}
        else:
            server = embedded.start_postgres(self.home, go_on=self.going)
            self.keepers.append(Keeper(server.process))
            values |= {"DATABASE_URL": server.url_app, "DATABASE_OWNER_URL": server.url_owner}
        if given.get("REDIS_URL"):
            values["REDIS_URL"] = given["REDIS_URL"]
        elif self.going():
            broker = embedded.start_redis(self.home, go_on=self.going)
            self.keepers.append(Keeper(broker.process))
            values["REDIS_URL"] = broker.url
        self.values = values
        environment.publish(self.home, values)

    def prepare(self) -> None:
        """Migrate, check the walls, load the demo: one process, which ends.

        What it prints, such as how to sign in to the demo, is for whoever watches the terminal.
        """
        command = [sys.executable, "-m", "deploy.prepare"]
        preparing = Child(self.service("prepare", command, deadline_s=5, shown=True))
        while preparing.alive() and self.going():
            time.sleep(0.02)
        stopped = preparing.alive()
        preparing.stop()
        if preparing.process.returncode and not stopped:
            raise Failed(f"The database could not be made ready:\n{preparing.last_words(40)}")

    def serve(self) -> None:
        """The web server; says `ready` when it answers."""
        given = os.environ
        command = [sys.executable, "-m", "granian", "--interface", "wsgi", "--http", "1"]
        command += ["--host", self.host, "--port", str(self.port), "--no-ws"]
        command += ["--workers", given.get("WEB_WORKERS", "2")]
        command += ["--blocking-threads", given.get("WEB_THREADS", "4")]
        command += ["--blocking-threads-idle-timeout", "600", "--workers-kill-timeout", "10"]
        command += ["--respawn-failed-workers", "--respawn-interval", "0.5"]
        web = self.keep("web", [*command, "deploy.wsgi:application"], insist=True)
        if wait_until(self.answers, child=web, within_s=60, go_on=self.going):
            where = environment.in_url(environment.reached_at(self.host))
            print(f"ready http://{where}:{self.port}", flush=True)

    def start_workers(self) -> None:
        """The worker and the clock that reminds it."""
        celery = [sys.executable, "-m", "celery", "-A"]
        worker = [*celery, "deploy.celery:app", "worker", "--loglevel", "INFO"]
        worker += ["--concurrency", os.environ.get("WORKER_CONCURRENCY", "1")]
        worker += ["--without-gossip", "--without-mingle"]
        self.keep("worker", worker)
        beat = [*celery, "deploy.beat:app", "beat", "--loglevel", "INFO", "--pidfile", ""]
        beat += ["--schedule", str(self.home / "run" / "beat-schedule")]
        self.keep("beat", beat)

    def keep(self, name: str, command: list[str], *, insist: bool = False) -> Child:
        """Start a child of ours and keep it running."""
        child = Child(self.service(name, command, deadline_s=DEADLINES_S[name], insist=insist))
        self.keepers.append(Keeper(child))
        return child

    def service(self, name: str, command: list[str], **how: Any) -> Service:
        """A program of ours, with the addresses that it needs and a log by its name."""
        python = {"PYTHONPATH": str(environment.ROOT), "PYTHONUNBUFFERED": "1"}
        log = self.home / "log" / f"{name}.log"
        return Service(name, command, log, {**self.values, **python}, **how)

    def answers(self) -> bool:
        """Whether the web server is alive."""
        where = environment.reached_at(self.host)
        connection = http.client.HTTPConnection(where, self.port, timeout=2)
        try:
            connection.request("GET", "/healthz", headers={"Host": "127.0.0.1"})
            return connection.getresponse().status == http.client.OK
        except (OSError, http.client.HTTPException):
            return False
        finally:
            connection.close()

    def stop(self) -> None:
        """Stop what was started, last first: what sends work before what does it, data last."""
        for keeper in reversed(self.keepers):
            keeper.child.stop()
        environment.run_file(self.home).unlink(missing_ok=True)


@contextmanager
def only_one(home: Path) -> Iterator[None]:
    """Hold the data directory; raises Failed when a server runs on it already.

    The kernel lets go of the lock when we end, however we end.
    """
    environment.lay_out(home)
    with (home / "lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise Failed(
                f"A server is already running on {home}. Stop it first, or choose another "
                "directory with STILLROOM_DATA and another PORT."
            ) from None
        yield


def refuse_taken_port(host: str, port: int) -> None:
    """Raises Failed when something else listens there, or when there is no such address."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise Failed(
                f"Port {port} cannot be used on {host} ({error.strerror}); choose another with "
                "PORT, or another address with HOST."
            ) from error


def main() -> int:
    """Run the server; the exit code is 0 when it was asked to stop."""
    home = environment.data_dir()
    try:
        host, port = os.environ.get("HOST") or "127.0.0.1", int(os.environ.get("PORT") or 8000)
        with only_one(home):
            refuse_taken_port(host, port)
            return Supervisor(home, host, port).run()
    except Failed as failure:
        say(str(failure))
        return 1


if __name__ == "__main__":
    sys.exit(main())
