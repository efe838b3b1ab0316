"""Where the server keeps its things, and how its parts find each other.

Standard library only: the supervisor imports this and stays small.
"""

import os
import secrets
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path
from urllib.parse import parse_qsl, unquote, urlsplit

ROOT = Path(__file__).resolve().parent.parent


def data_dir() -> Path:
    """The directory of everything the server keeps: `STILLROOM_DATA`, else `.data` beside us."""
    return Path(os.environ.get("STILLROOM_DATA") or ROOT / ".data").expanduser().resolve()


def lay_out(data: Path) -> None:
    """Make the directories. Others may pass through to what is theirs, and see nothing else."""
    data.mkdir(mode=0o711, parents=True, exist_ok=True)
    (data / "run").mkdir(mode=0o711, exist_ok=True)
    (data / "log").mkdir(mode=0o700, exist_ok=True)


def run_file(data: Path) -> Path:
    """The file by which `manage.py` finds the services of a running server."""
    return data / "run" / "environment"


def write_private(path: Path, text: str) -> None:
    """Write `text` so that only its owner can ever read it, not even for a moment otherwise."""
    beside = path.with_name(path.name + ".new")
    beside.unlink(missing_ok=True)
    with open(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)
    beside.replace(path)


def publish(data: Path, values: dict[str, str]) -> None:
    """Leave the addresses of the running services, and the secret key, for `manage.py`."""
    lines = (f"{name}={value}\n" for name, value in sorted(values.items()))
    write_private(run_file(data), "".join(lines))


def effective() -> dict[str, str]:
    """The environment, completed by what a running server published.

    With `DATABASE_URL` set the server's own file is not read at all: its owner URL must never
    be mixed with somebody else's database.
    """
    if os.environ.get("DATABASE_URL"):
        return dict(os.environ)
    try:
        text = run_file(data_dir()).read_text()
    except (FileNotFoundError, PermissionError, NotADirectoryError):
        return dict(os.environ)
    published = dict(line.split("=", 1) for line in text.splitlines() if "=" in line)
    return {**published, **os.environ}


def secret_key(data: Path) -> str:
    """The key that signs cursors: made once, kept with the data."""
    path = data / "secret_key"
    if not path.exists():
        write_private(path, secrets.token_urlsafe(48))
    return path.read_text().strip()


def database(url: str) -> dict[str, object]:
    """Django's settings of the PostgreSQL database that `url` names.

    A socket directory stands in the query, as libpq has it: `postgresql://user@/name?host=/dir`.
    Raises ValueError for a URL of another database.
    """
    parts = urlsplit(url)
    if parts.scheme not in {"postgres", "postgresql"}:
        raise ValueError("Only PostgreSQL is supported: write postgresql://user@host:port/name.")
    options = dict(parse_qsl(parts.query))
    host = options.pop("host", None) or unquote(parts.hostname or "")
    port = options.pop("port", None) or str(parts.port or "")
    return {
        "ENGINE": "deploy.postgres",
        "NAME": unquote(parts.path.lstrip("/")),
        "USER": unquote(parts.username or ""),
        "PASSWORD": unquote(parts.password or ""),
        "HOST": host,
        "PORT": port,
        "OPTIONS": options,
    }


def reached_at(host: str) -> str:
    """The address at which a server that listens on `host` is reached from this machine."""
    return "127.0.0.1" if host in {"0.0.0.0", "::"} else host  # noqa: S104 - compared, not bound


def in_url(host: str) -> str:
    """An address as a URL has it: IPv6 in brackets (RFC 3986)."""
    return f"[{host}]" if ":" in host else host


def networks(text: str) -> tuple[IPv4Network | IPv6Network, ...]:
    """The networks in a list such as "10.0.0.0/8, 127.0.0.1". Raises ValueError."""
    return tuple(ip_network(one.strip()) for one in text.split(",") if one.strip())


def broker_url(redis_url: str) -> str:
    """The same Redis in the task queue's spelling, which names a socket otherwise."""
    return redis_url.replace("unix://", "redis+socket://", 1)


def limits_url(redis_url: str) -> str:
    """The same Redis in the rate limiter's spelling."""
    return redis_url.replace("unix://", "redis+unix://", 1)
