"""Back up and restore the whole database, embedded or not.

A backup sees every co-op, so it is made by a role that row-level security does not bind: the
embedded server's superuser, or for another server the one in `DATABASE_ADMIN_URL`.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from deploy import embedded, environment
from deploy.processes import Failed
from deploy.supervise import only_one

COUNT_SQL = "select count(*) from pg_class where relnamespace = 'public'::regnamespace"


def run(program: str, *words: str) -> str:
    """One of PostgreSQL's programs; raises Failed with what it said."""
    command = [embedded.postgres_program(program), *words]
    ran = subprocess.run(command, capture_output=True, text=True, check=False)
    if ran.returncode:
        raise Failed(f"{program} failed:\n{ran.stderr}")
    return ran.stdout


def outside() -> str | None:
    """The administrator's URL when the database is not the embedded one."""
    if not os.environ.get("DATABASE_URL"):
        return None
    url = os.environ.get("DATABASE_ADMIN_URL")
    if not url:
        raise Failed("With DATABASE_URL give DATABASE_ADMIN_URL too: a role that sees all rows.")
    return url


@contextmanager
def stopped_server(home: Path) -> Iterator[str]:
    """The embedded database alone, started for this and stopped again."""
    with only_one(home):
        server = embedded.start_postgres(home)
        try:
            yield server.url_admin
        finally:
            server.process.stop()


def back_up(home: Path, file: Path) -> None:
    """Write a backup of one moment to `file`, which must be new: it is there whole or not at all.

    Raises Failed.
    """
    if file.exists():
        raise Failed(f"{file} exists already; a backup never replaces another.")
    beside = file.with_name(file.name + ".part")
    os.umask(0o077)
    try:
        with database_of(home) as url:
            run("pg_dump", "--format=custom", "--file", str(beside), "--dbname", url)
        beside.rename(file)
    finally:
        beside.unlink(missing_ok=True)


@contextmanager
def database_of(home: Path) -> Iterator[str]:
    """The database to back up, which is started for this unless it runs. Raises Failed."""
    url = outside()
    if url is None and environment.run_file(home).exists():
        url = embedded.postgres_url(home, "postgres")
    if url is not None:
        yield url
        return
    if not (home / "postgres").exists():
        raise Failed(f"There is no database in {home}.")
    with stopped_server(home) as own:
        yield own


def restore(home: Path, file: Path) -> None:
    """Bring the backup in `file` back, whole or not at all, where there is nothing yet."""
    if not file.exists():
        raise Failed(f"There is no {file}.")
    url = outside()
    if url is not None:
        _restore_into(url, file)
        return
    with stopped_server(home) as own:
        _restore_into(own, file)


def _restore_into(url: str, file: Path) -> None:
    if run("psql", "-X", "-At", "-d", url, "-c", COUNT_SQL).strip() != "0":
        raise Failed("The database is not empty; restore into a new STILLROOM_DATA or database.")
    run("pg_restore", "--exit-on-error", "--single-transaction", "--dbname", url, str(file))


def main() -> int:
    """`backup FILE` or `restore FILE`."""
    action = {"backup": back_up, "restore": restore}[sys.argv[1]]
    try:
        action(environment.data_dir(), Path(sys.argv[2]))
    except Failed as failure:
        print(failure, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
