"""How a person wants pages shown, and what the frame of every page says of who reads it."""

from dataclasses import dataclass
from uuid import UUID

from api.models import Preference
from api.signing import digest
from ledger.access import Actor
from ledger.errors import Invalid
from ledger.statements import run

READER = "select * from api_reader(%s)"


@dataclass(frozen=True, slots=True)
class Seat:
    """A maker that a person may work for, with the role there."""

    maker: UUID
    name: str
    role: str


@dataclass(frozen=True, slots=True)
class Person:
    """Who is signed in: the co-op, the makers to choose from, and the person's preferences."""

    coop: UUID
    coop_name: str
    username: str
    seats: tuple[Seat, ...]
    units: str
    theme: str
    numbers: str


def person_of(token: str) -> Person | None:
    """Whom a token belongs to, in one query within an open transaction; None for an unknown one."""
    rows = run(READER, [digest(token)]).fetchall()
    if not rows:
        return None
    coop, coop_name, _, _, _, username, units, theme, numbers = rows[0]
    seats = tuple(Seat(row[2], row[3], row[4]) for row in rows if row[2])
    return Person(coop, coop_name, username, seats, units or "", theme or "", numbers or "")


def set_preferences(actor: Actor, *, units: str, theme: str, numbers: str) -> None:
    """Keep how the person wants pages shown. Raises Invalid for what cannot be chosen."""
    if units not in {"", *Preference.Units} or theme not in {"", *Preference.Theme}:
        raise Invalid("This is none of the ways in which pages can be shown.")
    Preference.objects.update_or_create(
        coop_id=actor.coop_id,
        person_id=actor.person_id,
        defaults={"units": units, "theme": theme, "numbers": numbers},
    )
