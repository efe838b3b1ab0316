"""People of every role on a running server, and a look behind it.

There is no command yet that gives a person a role in a maker, so a membership is written into the
database, as the server's own operator could.
"""

import hashlib
import secrets
import uuid
from typing import Any

import psycopg
from django.contrib.auth.hashers import make_password

from deploy import embedded
from tests.api.client import PASSWORD, Client, Coop
from tests.running import Running


def sql(server: Running, statement: str, *values: Any) -> list[tuple[Any, ...]]:
    """What the database answers its superuser, who sees through every wall."""
    url = embedded.postgres_url(server.data, "postgres")
    with psycopg.connect(url, autocommit=True) as connection:
        cursor = connection.execute(statement, values or None)
        return cursor.fetchall() if cursor.description else []


def coop_id(coop: Coop) -> uuid.UUID:
    ((id,),) = sql(coop.server, "select id from ledger_coop where slug = %s", coop.slug)
    return uuid.UUID(str(id))


def maker_id(coop: Coop, name: str) -> uuid.UUID:
    """The id of a maker of the co-op."""
    ((id,),) = sql(
        coop.server,
        "select id from ledger_maker where coop_id = %s and name = %s",
        coop_id(coop),
        name,
    )
    return uuid.UUID(str(id))


def add_person(coop: Coop) -> str:
    """Somebody new, who belongs nowhere yet; the user name."""
    name = f"person-{uuid.uuid4().hex[:12]}"
    sql(
        coop.server,
        "insert into auth_user (username, password, email, first_name, last_name, is_active,"
        " is_staff, is_superuser, date_joined)"
        " values (%s, %s, '', '', '', true, false, false, now())",
        name,
        make_password(PASSWORD),
    )
    return name


def join(coop: Coop, person: str, maker: str | None, role: str) -> None:
    """Give a person a role in a maker, or (without one) in the co-op."""
    sql(
        coop.server,
        "insert into ledger_membership (coop_id, id, maker_id, person_id, role, created_at)"
        " select %s, %s, %s, id, %s, now() from auth_user where username = %s",
        coop_id(coop),
        uuid.uuid4(),
        maker and maker_id(coop, maker),
        role,
        person,
    )


def token_of(coop: Coop, person: str, *, read_only: bool = False, lasts: str = "1 day") -> str:
    """A token as the server would keep it, without the cost of checking a password."""
    token = secrets.token_urlsafe(32)
    sql(
        coop.server,
        "insert into api_token (coop_id, id, digest, person_id, read_only, expires_at)"
        " select %s, %s, %s, id, %s, now() + %s::interval from auth_user where username = %s",
        coop_id(coop),
        uuid.uuid4(),
        hashlib.sha256(token.encode()).digest(),
        read_only,
        lasts,
        person,
    )
    return token


def member(coop: Coop, maker: str | None, role: str) -> Client:
    """Somebody new with a role, signed in."""
    person = add_person(coop)
    join(coop, person, maker, role)
    return Client(coop.server.port, token_of(coop, person))
