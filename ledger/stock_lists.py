"""Opening stock as a list: a lot in every row, all of them or none.

Whoever imports checks first. A check does everything and takes it back, so that it tells what the
import would. Every lot is an entry of its own, as if it were entered by hand; a hundred are
written in as few queries as one.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import transaction
from django.db.models.functions import Lower

from ledger.access import Actor, materials_visible_to
from ledger.entries import lock_pools
from ledger.errors import (
    Invalid,
    Refusal,
    Sentence,
)
from ledger.in_parts import Together, Told, parts_of, silent
from ledger.issuing import Moved
from ledger.lots import hold_lot_numbers
from ledger.measuring import Measured
from ledger.models import Lot, Material, Place
from ledger.opening_stock import Opening, There, open_all, opening_of
from ledger.price_list_rows import (
    CellError,
    Cells,
    CellWrong,
    ListRefused,
    ListRow,
    day_of_cell,
    decimal_of,
    error_at,
    within,
)
from ledger.quantities import parse_density, parse_quantity
from ledger.roles import Verb

REQUIRED: Final = ("material", "quantity", "value", "supplier_lot")
COLUMNS: Final = (*REQUIRED, "expires_on", "retest_on", "density", "released_because", "place")
# Where a refusal of the ledger names what the list calls otherwise.
CALLED: Final = {"release": "released_because"}
# So many lots are written at once; a statement must not take too long.
AT_ONCE: Final = 100


@dataclass(frozen=True, slots=True)
class Opened:
    """A lot that a row opens, with what is in it and what it is worth.

    It is `known` where the maker has had a lot of this material with the supplier's number before.
    """

    row: int
    lot: Lot
    measured: Measured
    value: Decimal
    place: str = ""
    known: bool = False


@dataclass(frozen=True, slots=True)
class _Known:
    """What the list names, by the names in small letters."""

    materials: dict[str, list[Material]]
    places: dict[str, Place]


@dataclass(slots=True)
class StockList:
    """What a list says: its errors, or the lots that it opens."""

    rows: int
    errors: list[CellError] = field(default_factory=list)
    opened: list[Opened] = field(default_factory=list)

    @property
    def known(self) -> list[int]:
        """The rows whose lots are there already, as it seems."""
        return [one.row for one in self.opened if one.known]

    @property
    def twice(self) -> list[tuple[int, int]]:
        """The rows that name the same supplier's lot of a material as an earlier one, with that."""
        first: dict[tuple[UUID, str], int] = {}
        for one in self.opened:
            first.setdefault((one.lot.material_id, one.lot.supplier_lot), one.row)
        rows = [(one.row, first[one.lot.material_id, one.lot.supplier_lot]) for one in self.opened]
        return [(row, before) for row, before in rows if row != before]


def check_stock(
    actor: Actor, rows: Sequence[ListRow], *, now: datetime, told: Told = silent
) -> StockList:
    """What a list would open, with everything that is wrong with it; nothing stays written.

    How many rows are done is `told` in between. Raises Forbidden.
    """
    return _done(actor, rows, now, told, keep=False)


def import_stock(
    actor: Actor, rows: Sequence[ListRow], *, now: datetime, told: Told = silent
) -> StockList:
    """Open the lots of a list. Raises ListRefused for any error, Forbidden."""
    found = _done(actor, rows, now, told, keep=True)
    if found.errors:
        raise ListRefused(found.errors)
    return found


def _done(
    actor: Actor, rows: Sequence[ListRow], now: datetime, told: Told, *, keep: bool
) -> StockList:
    actor.must(Verb.RECEIVE)
    found, known, had = StockList(len(rows)), _known(actor, rows), _had(actor, rows)
    sound = [
        (row, opening)
        for row in rows
        if (opening := _looked_at(actor, row, known, now, found)) is not None
    ]
    together: Together[tuple[ListRow, Opening], Moved] = Together(
        lambda pairs: open_all(actor, [opening for _, opening in pairs], happened_at=now),
        lambda pair, refusal: found.errors.append(_error(pair[0], refusal)),
    )
    done = len(rows) - len(sound)
    with transaction.atomic():
        if keep:
            # All at once and in their order: a later part must not wait for whom an earlier keeps.
            hold_lot_numbers(actor)
            lock_pools(opening.new.material.id for _, opening in sound)
        for part in parts_of(sound, AT_ONCE):
            # What is only tried is taken back at once, so that nobody else waits for it.
            with transaction.atomic():
                for (row, opening), moved in together.written(part):
                    found.opened.append(_opened(row, opening, moved, had))
                if not keep:
                    transaction.set_rollback(True)
            done += len(part)
            told(done)
        if found.errors:
            transaction.set_rollback(True)
    found.errors.sort(key=lambda error: error.row)
    return found


def _opened(row: ListRow, opening: Opening, moved: Moved, had: set[tuple[UUID, str]]) -> Opened:
    (lot,), (measured,) = moved.lots, moved.measured
    there = (lot.material_id, lot.supplier_lot) in had
    place = opening.place.name if opening.place else ""
    return Opened(row.number, lot, measured, moved.value, place, there)


def _looked_at(
    actor: Actor,
    row: ListRow,
    known: _Known,
    now: datetime,
    found: StockList,
) -> Opening | None:
    """What a row opens, or nothing where it is written down why it cannot be."""
    cells = Cells(row)
    said = _read(cells, known)
    found.errors += cells.errors
    if cells.errors:
        return None
    try:
        return opening_of(actor, There(**said), now)
    except Refusal as refusal:
        found.errors.append(_error(row, refusal))
        return None


def _error(row: ListRow, refusal: Refusal) -> CellError:
    name = refusal.pointer.strip("/").split("/")[0]
    return error_at(row, CALLED.get(name, name), refusal)


def _read(cells: Cells, known: _Known) -> dict[str, Any]:
    """What a row says, as far as its cells can be read."""
    for name, why in cells.row.wrong.items():
        cells.refuse(name, CellWrong(why))
    for name in REQUIRED:
        if not cells.text(name):
            cells.refuse(name, Invalid("This column must have a value in every row."))
    return {
        "material": cells.read("material", lambda name: _the_one(known.materials, name), None),
        "quantity": cells.read("quantity", parse_quantity, None),
        "value": cells.read("value", _value, Decimal(0)),
        "supplier_lot": cells.read("supplier_lot", within(80), ""),
        "expires_on": cells.read("expires_on", day_of_cell, None),
        "retest_on": cells.read("retest_on", day_of_cell, None),
        "density": cells.read("density", parse_density, None),
        "release_basis": cells.read("released_because", within(400), "") or None,
        "place": cells.read("place", lambda name: _place(known.places, name), None),
    }


def _value(text: str) -> Decimal:
    """What a lot is worth; nothing, where it was given."""
    return Decimal(0) if text.strip("0.") == "" and text.count(".") < 2 else decimal_of(text)


def _known(actor: Actor, rows: Sequence[ListRow]) -> _Known:
    """The materials and places that the list names, in a query each."""
    names = _named(rows, "material")
    found: dict[str, list[Material]] = {}
    called = materials_visible_to(actor).annotate(folded=Lower("name"))
    for material in called.filter(folded__in=names):
        found.setdefault(material.name.lower(), []).append(material)
    named = _named(rows, "place") - {""}
    own = Place.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker)
    there = own.annotate(folded=Lower("name")).filter(folded__in=named) if named else []
    return _Known(found, {place.name.lower(): place for place in there})


def _named(rows: Sequence[ListRow], column: str) -> set[str]:
    return {row.cells.get(column, "").strip().lower() for row in rows}


def _had(actor: Actor, rows: Sequence[ListRow]) -> set[tuple[UUID, str]]:
    """Materials and suppliers' lot numbers of the list that the maker has had, in one query."""
    numbers = {row.cells.get("supplier_lot", "").strip() for row in rows} - {""}
    had = Lot.objects.filter(origin_id=actor.maker, supplier_lot__in=numbers)
    return set(had.values_list("material_id", "supplier_lot"))


def _place(known: dict[str, Place], name: str) -> Place:
    place = known.get(name.lower())
    if place is None:
        raise Invalid("No place of yours has this name: write it as here, or name it first.")
    return place


def _the_one(known: dict[str, list[Material]], name: str) -> Material | None:
    rows = known.get(name.lower(), [])
    if not rows:
        raise Invalid("There is no material of this name: write it as here, or add it first.")
    if len(rows) > 1:
        raise Invalid(
            Sentence("{count} materials have this name: rename one of them first.", count=len(rows))
        )
    return rows[0]
