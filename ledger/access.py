"""The one door: who acts, for whom, and inside which walls.

`acting_as` opens the one transaction of a request or task and sets the walls that PostgreSQL
enforces by row-level security. Everything a verb reads after that is the co-op's and the maker's
own, and what belongs to others looks as if it were not there.
"""

import functools
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ObjectDoesNotExist
from django.db import DEFAULT_DB_ALIAS, connection, models, transaction

from ledger.errors import (
    Forbidden,
    NotFound,
    Sentence,
)
from ledger.models import Custody, Lot, Material, Supplier
from ledger.roles import MAY, Verb
from ledger.statements import begin, run


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
                Sentence(
                    "The role {role!r} may not {verb}; ask an owner of the maker.",
                    role=self.role,
                    verb=verb.value,
                )
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


WALLS: Final = "set local app.coop = '{}'; set local app.maker = '{}'"


def set_walls(coop_id: UUID, maker_id: UUID | None) -> None:
    """Set the walls for the rest of the open transaction."""
    walls = WALLS.format(UUID(str(coop_id)), UUID(str(maker_id)) if maker_id else "")
    if not begin(walls):
        with connection.cursor() as cursor:
            cursor.execute(walls)


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
    return _in_order(lambda ids: rows.filter(id__in=ids), wanted)


def _in_order(
    fetch: Callable[[list[UUID]], Iterable[Row]], wanted: Sequence[tuple[UUID | str, str]]
) -> list[Row]:
    ids: list[UUID] = []
    for id, pointer in wanted:
        try:
            ids.append(UUID(str(id)))
        except ValueError as error:
            raise NotFound(pointer=pointer) from error
    found: dict[UUID, Row] = {row.pk: row for row in fetch(list(set(ids)))}
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
    (lot,) = lots_for(actor, [(id, pointer)])
    return lot


def lots_for(actor: Actor, wanted: Sequence[tuple[UUID | str, str]]) -> list[Lot]:
    """The same for many at once, in one query; each id comes with its pointer.

    The statement is written once, since most of what is posted begins with it and the writing
    would take longer than the looking.
    """
    return _in_order(lambda ids: _fetch_lots(actor, ids), wanted)


def _fetch_lots(actor: Actor, ids: list[UUID]) -> Iterator[Lot]:
    statement, of_lot, of_material = _lots_with_materials()
    for row in run(statement, [actor.coop_id, actor.maker, ids]).fetchall():
        lot = Lot.from_db(DEFAULT_DB_ALIAS, of_lot, row[: len(of_lot)])
        lot.material = Material.from_db(DEFAULT_DB_ALIAS, of_material, row[len(of_lot) :])
        yield lot


@functools.cache
def _lots_with_materials() -> tuple[str, list[str], list[str]]:
    """The statement, and the fields that its columns fill."""
    of_lot, of_material = (
        [field.attname for field in model._meta.concrete_fields] for model in (Lot, Material)
    )
    columns = ", ".join([f"l.{name}" for name in of_lot] + [f"m.{name}" for name in of_material])
    return (
        f"select {columns} from ledger_custody c"  # noqa: S608 - the names are the models' own
        " join ledger_lot l on l.coop_id = c.coop_id and l.id = c.lot_id"
        " join ledger_material m on m.coop_id = c.coop_id and m.id = l.material_id"
        " where c.coop_id = %s and c.maker_id = %s and c.lot_id = any(%s::uuid[])",
        of_lot,
        of_material,
    )


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
