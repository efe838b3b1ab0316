"""The one door: who acts, for whom, and inside which walls.

`acting_as` opens the one transaction of a request or task and sets the walls that PostgreSQL
enforces by row-level security. Everything a verb reads after that is the co-op's and the maker's
own, and what belongs to others looks as if it were not there.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ObjectDoesNotExist
from django.db import models, transaction

from ledger.errors import Forbidden, NotFound
from ledger.models import Custody, Lot, Material, Supplier
from ledger.roles import MAY, Verb
from ledger.statements import run


@dataclass(frozen=True, slots=True)
class Actor:
    """A person acting in a co-op, for one of its makers or (without one) for the co-op itself."""

    person_id: int
    coop_id: UUID
    maker_id: UUID | None
    role: str
    currency: str
    time_zone: str

    def may(self, verb: Verb) -> bool:
        return verb in MAY[self.role]

    def must(self, verb: Verb) -> None:
        """Raises Forbidden, naming the role and what it may not do."""
        if not self.may(verb):
            raise Forbidden(
                f"The role {self.role!r} may not {verb.value}; ask an owner of the maker."
            )

    @property
    def maker(self) -> UUID:
        """The maker acted for. Raises Forbidden for someone who acts for the co-op alone."""
        if self.maker_id is None:
            raise Forbidden("This is a maker's own; sign in as a member of one.")
        return self.maker_id


def day_of(actor: Actor, moment: datetime) -> date:
    """The day of a moment where the co-op is."""
    return moment.astimezone(ZoneInfo(actor.time_zone)).date()


WALLS: Final = "select set_config('app.coop', %s, true), set_config('app.maker', %s, true)"


def set_walls(coop_id: UUID, maker_id: UUID | None) -> None:
    """Set the walls for the rest of the open transaction."""
    run(WALLS, [str(coop_id), str(maker_id or "")]).close()


@contextmanager
def acting_as(actor: Actor) -> Iterator[Actor]:
    """One durable transaction inside the actor's walls."""
    with transaction.atomic(durable=True):
        set_walls(actor.coop_id, actor.maker_id)
        yield actor


Row = TypeVar("Row", bound=models.Model)


def find(rows: "models.QuerySet[Row]", id: UUID | str, *, pointer: str = "") -> Row:
    """The row with this id. Raises NotFound alike for what is missing and what is another's."""
    try:
        return rows.get(id=UUID(str(id)))
    except (ObjectDoesNotExist, ValueError) as error:
        raise NotFound(pointer=pointer) from error


def find_all(rows: "models.QuerySet[Row]", wanted: Sequence[tuple[UUID | str, str]]) -> list[Row]:
    """The rows with these ids in their order, in one query; each id comes with its pointer."""
    ids: list[UUID] = []
    for id, pointer in wanted:
        try:
            ids.append(UUID(str(id)))
        except ValueError as error:
            raise NotFound(pointer=pointer) from error
    found: dict[UUID, Row] = {row.pk: row for row in rows.filter(id__in=set(ids))}
    for id, (_, pointer) in zip(ids, wanted, strict=True):
        if id not in found:
            raise NotFound(pointer=pointer)
    return [found[id] for id in ids]


def lots_visible_to(actor: Actor) -> "models.QuerySet[Lot]":
    """The lots that the maker has or had, with their materials."""
    held = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker).values("lot_id")
    rows = Lot.objects.select_related("material").filter(coop_id=actor.coop_id)
    return rows.filter(id__in=held)


def lot_for(actor: Actor, id: UUID | str, *, pointer: str = "") -> Lot:
    """A lot that the maker has or had, with its material."""
    return find(lots_visible_to(actor), id, pointer=pointer)


def material_for(actor: Actor, id: UUID | str, *, pointer: str = "") -> Material:
    """A material of the co-op, or one that the maker makes."""
    return find(materials_visible_to(actor), id, pointer=pointer)


def materials_for(actor: Actor, wanted: Sequence[tuple[UUID | str, str]]) -> list[Material]:
    """The same for many at once, in one query; each id comes with its pointer."""
    return find_all(materials_visible_to(actor), wanted)


def materials_visible_to(actor: Actor) -> "models.QuerySet[Material]":
    """The co-op's materials and those that the maker makes."""
    own = models.Q(maker__isnull=True) | models.Q(maker_id=actor.maker_id)
    return Material.objects.filter(own, coop_id=actor.coop_id)


def suppliers_visible_to(actor: Actor) -> "models.QuerySet[Supplier]":
    """The co-op's suppliers."""
    return Supplier.objects.filter(coop_id=actor.coop_id)


def supplier_for(actor: Actor, id: UUID | str, *, pointer: str = "") -> Supplier:
    """A supplier of the co-op."""
    return find(suppliers_visible_to(actor), id, pointer=pointer)
