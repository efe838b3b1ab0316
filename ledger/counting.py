"""Counting what is there: sheets, readings, and the differences explained (ISO 22716 6.6.8).

A reading is judged on the books as they stood at its own moment, so that what is drawn between the
scale and the closing of the sheet does no harm. A difference outside its tolerance is read again,
then explained by causes that sum to it exactly; closing the sheet posts them. A difference inside
its tolerance is the scale's own and leaves the books as they are, unless causes are given.

What is found comes in at what its cost layer says of a gram or piece now: the lot's own, or under
a moving average the material's; where nothing is left, at the lot's latest value in the store.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

from ledger.abc_classes import classes_of, use_of
from ledger.access import Actor, find, lots_for, materials_for
from ledger.counting_rules import TOLERANCE_PERCENT, tolerance
from ledger.entries import account, explained
from ledger.errors import (
    Conflict,
    CountEnded,
    Invalid,
    Sentence,
    placed,
)
from ledger.lots import must_be_stocked
from ledger.measuring import density_of, measure
from ledger.models import Account, CountLine, CountReading, CountSheet, Holding, Lot, Place
from ledger.places import lying_about, places_named
from ledger.quantities import Quantity
from ledger.roles import Verb

ZERO: Final = Decimal(0)
MOST_LINES: Final = 2_000
GRACE: Final = timedelta(minutes=1)
# The books of each lot as they stood at a moment: what is there now less what moved since; and
# whether a count of the lot has been posted for a later moment.
_BOOK: Final = """
select w.lot,
       coalesce((select sum(h.quantity) from ledger_holding h where h.coop_id = %(coop)s
                   and h.account_id = %(store)s and h.lot_id = w.lot), 0)
         - coalesce(sum(p.quantity) filter (where e.happened_at > w.at), 0),
       coalesce(bool_or(e.kind = 'count' and e.happened_at > w.at), false)
  from unnest(%(lots)s::uuid[], %(moments)s::timestamptz[]) w(lot, at)
  left join ledger_posting p
    on p.coop_id = %(coop)s and p.lot_id = w.lot and p.account_id = %(store)s
      and p.happened_on >= (w.at at time zone %(zone)s)::date
  left join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
 group by w.lot
"""


@dataclass(frozen=True, slots=True)
class Container:
    """One container on the scale: with what is in it, and empty."""

    gross: Quantity
    tare: Quantity


@dataclass(frozen=True, slots=True)
class Read:
    """What was read of a lot: containers on the scale, a quantity as it is, or nothing."""

    lot: UUID | str
    containers: Sequence[Container] = ()
    quantity: Quantity | None = None
    nothing: bool = False


@dataclass(frozen=True, slots=True)
class _Net:
    """A reading in grams or pieces; gross and tare where a scale was used."""

    entered: list[dict[str, str]]
    quantity: Decimal
    gross: Decimal | None = None
    tare: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Chosen:
    """What to count: lots by class, material or place, or one by one; nothing chosen means all."""

    classes: Sequence[str] = ()
    materials: Sequence[UUID | str] = ()
    lots: Sequence[UUID | str] = field(default=())
    lies_in: UUID | str | None = None


def open_sheet(
    actor: Actor,
    *,
    chosen: Chosen,
    now: datetime,
    place: str = "",
    blind: bool = False,
    tolerance_percent: Decimal | None = None,
) -> CountSheet:
    """Open a sheet of all chosen lots that lie in store, and of the lots that are named anyway.

    A sheet of one place is headed by its name, unless it has another heading (`place`).
    Raises NotFound, Invalid for nothing to count, for more than 2,000 lots and for what is not
    stocked, and Conflict for a lot that stands on another open sheet.
    """
    actor.must(Verb.COUNT)
    named = lots_for(actor, [(id, f"/lots/{n}") for n, id in enumerate(chosen.lots)])
    for place_of, lot in enumerate(named):
        must_be_stocked(lot.material, f"/lots/{place_of}")
    (of_place,) = places_named(actor, [(chosen.lies_in, "/lies_in")])
    uses = use_of(actor, now=now)
    classes = classes_of(uses)
    lots = {lot.id: lot for lot in named}
    if not named or chosen.classes or chosen.materials or of_place:
        lots |= {lot.id: lot for lot in _in_store(actor, chosen, classes, of_place)}
    if not lots:
        raise Invalid("Nothing of this lies in store; name the lots, or choose otherwise.")
    if len(lots) > MOST_LINES:
        raise Invalid(
            Sentence(
                "A sheet has at most {most_lines} lots: choose a class or materials.",
                most_lines=MOST_LINES,
            )
        )
    _check_free(actor, lots.values())
    sheet = CountSheet(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        place=place or (of_place.name if of_place else ""),
        blind=blind,
        tolerance_percent=tolerance_percent,
        person_id=actor.person_id,
    )
    sheet.save(force_insert=True)
    _add_lines(sheet, list(lots.values()), classes, 0)
    return sheet


def sheets_of(actor: Actor) -> "QuerySet[CountSheet]":
    """The maker's count sheets. Raises Forbidden."""
    actor.must(Verb.READ)
    return CountSheet.objects.filter(maker_id=actor.maker)


def locked_sheet(actor: Actor, id: UUID | str) -> CountSheet:
    """An open sheet, for one person at a time. Raises NotFound, CountEnded."""
    rows = CountSheet.objects.select_for_update(no_key=True).filter(maker_id=actor.maker)
    sheet = find(rows, id)
    if sheet.state != CountSheet.State.OPEN:
        raise CountEnded(state=sheet.state)
    return sheet


def lines_of(sheet: CountSheet) -> "QuerySet[CountLine]":
    """The lines of a sheet in their order, with lots, materials and causes, in a few queries."""
    rows = CountLine.objects.select_related("lot__material").filter(
        coop_id=sheet.coop_id, sheet=sheet
    )
    return rows.prefetch_related("causes__entry").order_by("position")


def read_lots(
    actor: Actor,
    *,
    sheet: UUID | str,
    readings: Sequence[Read],
    happened_at: datetime,
    now: datetime,
) -> CountSheet:
    """Keep what was read of lots at a moment, each judged on the books of that moment.

    Net is gross less tare, of several containers together. A lot that is not on the sheet yet, as
    it was found on the shelf, comes onto it. Raises NotFound, CountEnded, DensityMissing, Invalid.
    """
    actor.must(Verb.COUNT)
    if happened_at > now + GRACE:
        raise Invalid(
            "This moment lies in the future; give the moment when it was read.",
            pointer="/happened_at",
        )
    found = locked_sheet(actor, sheet)
    lots = lots_for(actor, [(read.lot, f"/readings/{n}/lot") for n, read in enumerate(readings)])
    if len({lot.id for lot in lots}) < len(lots):
        raise Invalid("A lot stands twice here; send its containers together.", pointer="/readings")
    nets = [_net(read, lot, n) for n, (read, lot) in enumerate(zip(readings, lots, strict=True))]
    lines = _lines_for(actor, found, lots, now)
    books = book_at(actor, [(lot.id, happened_at) for lot in lots])
    _keep(actor, [lines[lot.id] for lot in lots], nets, books, happened_at)
    return found


def drop_sheet(actor: Actor, *, sheet: UUID | str, reason: str, now: datetime) -> CountSheet:
    """End a sheet without posting anything, and say why. Raises NotFound, CountEnded, Invalid."""
    actor.must(Verb.COUNT)
    if not reason.strip():
        raise Invalid("Say why the sheet is dropped.", pointer="/reason")
    found = locked_sheet(actor, sheet)
    end_sheet(actor, found, CountSheet.State.DROPPED, now, reason)
    return found


def end_sheet(
    actor: Actor, sheet: CountSheet, state: CountSheet.State, now: datetime, reason: str = ""
) -> None:
    """Close or drop a locked sheet; its lots may then stand on another."""
    CountLine.objects.filter(coop_id=sheet.coop_id, sheet=sheet).update(is_open=False)
    sheet.state, sheet.reason = state, reason
    sheet.ended_at, sheet.ended_by_id = now, actor.person_id
    with explained():
        sheet.save(update_fields=["state", "reason", "ended_at", "ended_by"])


def book_at(
    actor: Actor, wanted: Sequence[tuple[UUID, datetime]]
) -> Mapping[UUID, tuple[Decimal, bool]]:
    """What the store had of each lot at a moment, and whether a later count of it stands."""
    with connection.cursor() as cursor:
        cursor.execute(
            _BOOK,
            {
                "coop": actor.coop_id,
                "store": store_of(actor),
                "zone": actor.time_zone,
                "lots": [lot for lot, _ in wanted],
                "moments": [moment for _, moment in wanted],
            },
        )
        return {lot: (book, later) for lot, book, later in cursor.fetchall()}


def store_of(actor: Actor) -> UUID:
    """The account of the maker's store."""
    return account(actor, Account.Kind.STORE, "store")


def _in_store(
    actor: Actor, chosen: Chosen, classes: Mapping[UUID, str], place: Place | None
) -> list[Lot]:
    """Lots in store of what was chosen; what was never used is of class C."""
    rows = Holding.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, kind=Account.Kind.STORE, any_left=True
    )
    wanted = [(id, f"/materials/{n}") for n, id in enumerate(chosen.materials)]
    if wanted:
        rows = rows.filter(material_id__in=[row.id for row in materials_for(actor, wanted)])
    if place is not None:
        rows = rows.filter(lot_id__in=lying_about(actor).filter(place=place).values("lot_id"))
    if chosen.classes:
        others = [id for id, name in classes.items() if name not in chosen.classes]
        if "C" not in chosen.classes:
            rows = rows.filter(material_id__in=classes)
        rows = rows.exclude(material_id__in=others)
    held = rows.select_related("lot__material").order_by("lot_id")
    return [row.lot for row in held[: MOST_LINES + 1]]


def _check_free(actor: Actor, lots: Iterable[Lot]) -> None:
    codes = {lot.id: lot.code for lot in lots}
    taken = CountLine.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, is_open=True, lot_id__in=codes
    ).values_list("lot_id", flat=True)[:10]
    if taken:
        named = ", ".join(sorted(codes[id] for id in taken))
        raise Conflict(
            Sentence(
                "These lots stand on another open sheet: {named}. Close or drop that one first.",
                named=named,
            ),
            lots=[str(id) for id in taken],
        )


def _add_lines(
    sheet: CountSheet, lots: Sequence[Lot], classes: Mapping[UUID, str], first: int
) -> list[CountLine]:
    lines = []
    for position, lot in enumerate(lots, start=first):
        name = classes.get(lot.material_id, "C")
        percent: Decimal | None = sheet.tolerance_percent
        lines.append(
            CountLine(
                coop_id=sheet.coop_id,
                maker_id=sheet.maker_id,
                sheet=sheet,
                lot=lot,
                material_id=lot.material_id,
                position=position,
                abc_class=name,
                tolerance_percent=TOLERANCE_PERCENT[name] if percent is None else percent,
            )
        )
    with explained():
        CountLine.objects.bulk_create(lines)
    return lines


def _lines_for(
    actor: Actor, sheet: CountSheet, lots: Sequence[Lot], now: datetime
) -> dict[UUID, CountLine]:
    """The lines of these lots; those that are missing are added at the end."""
    rows = CountLine.objects.filter(coop_id=actor.coop_id, sheet=sheet)
    lines = {line.lot_id: line for line in rows.filter(lot__in=[lot.id for lot in lots])}
    missing = [lot for lot in lots if lot.id not in lines]
    if missing:
        for lot in missing:
            must_be_stocked(lot.material, "/readings")
        _check_free(actor, missing)
        first = rows.count()
        if first + len(missing) > MOST_LINES:
            raise Invalid(
                Sentence("A sheet has at most {most_lines} lots.", most_lines=MOST_LINES),
                pointer="/readings",
            )
        classes = classes_of(use_of(actor, now=now))
        lines |= {line.lot_id: line for line in _add_lines(sheet, missing, classes, first)}
    return lines


def _net(read: Read, lot: Lot, place: int) -> _Net:
    """What is there, in grams or pieces."""
    at = f"/readings/{place}"
    if [read.quantity is not None, bool(read.containers), read.nothing].count(True) != 1:
        raise Invalid(
            "Send one of these: containers with gross and tare, a quantity, or nothing: true.",
            pointer=at,
        )
    if read.nothing:
        return _Net([{"quantity": "nothing"}], ZERO)
    if read.quantity is not None:
        with placed(f"{at}/quantity"):
            measured = measure(read.quantity, lot.material, density_of(lot))
        return _Net([{"quantity": measured.entered}], measured.quantity)
    gross, tare, entered = ZERO, ZERO, []
    for n, container in enumerate(read.containers):
        full = _grams(container.gross, lot, f"{at}/containers/{n}/gross")
        empty = _grams(container.tare, lot, f"{at}/containers/{n}/tare")
        if empty > full:
            raise Invalid(
                "The empty container weighs more than the full one; check gross and tare.",
                pointer=f"{at}/containers/{n}/tare",
            )
        gross, tare = gross + full, tare + empty
        entered.append({"gross": container.gross.entered, "tare": container.tare.entered})
    return _Net(entered, gross - tare, gross, tare)


def _grams(weight: Quantity, lot: Lot, pointer: str) -> Decimal:
    if lot.material.counted or weight.measure != "mass":
        raise Invalid(
            "Gross and tare are weights of what is kept by mass; send pieces as a quantity.",
            pointer=pointer,
        )
    with placed(pointer):
        return measure(weight, lot.material, density_of(lot)).quantity


def _keep(
    actor: Actor,
    lines: Sequence[CountLine],
    nets: Sequence[_Net],
    books: Mapping[UUID, tuple[Decimal, bool]],
    happened_at: datetime,
) -> None:
    kept = []
    for line, net in zip(lines, nets, strict=True):
        line.book, _ = books[line.lot_id]
        line.tolerance = tolerance(max(line.book, ZERO), line.tolerance_percent)
        line.counted, line.counted_at = net.quantity, happened_at
        line.readings += 1
        kept.append(
            CountReading(
                coop_id=actor.coop_id,
                maker_id=actor.maker,
                line=line,
                number=line.readings,
                entered=net.entered,
                gross=net.gross,
                tare=net.tare,
                quantity=net.quantity,
                book=line.book,
                tolerance=line.tolerance,
                happened_at=happened_at,
                person_id=actor.person_id,
            )
        )
    CountReading.objects.bulk_create(kept)
    CountLine.objects.bulk_update(lines, ["book", "tolerance", "counted", "counted_at", "readings"])
