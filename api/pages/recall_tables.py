"""The tables of a recall as files, whatever their pages show of them."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as said

from api.pages.recall_notices import CALLED
from api.pages.tables import Cell, Table, unit_of
from ledger.access import Actor, day_of
from ledger.models import Recall, RecallClosure
from ledger.recall_buyers import Buyer
from ledger.recall_notices import Answered
from ledger.recall_tallies import COUNTS, Count
from ledger.recalling import RecallList


def places(listed: RecallList) -> Table:
    """Where each lot lies, and how much of the recalled lot is in it."""
    columns = [said("Lot"), said("Material"), said("Status"), said("Where"), said("Quantity")]
    columns += [said("Unit"), said("Of the recalled lot"), said("Within reach")]
    cells = [
        (
            *(lot.code, lot.material_name, lot.status, place.name, place.quantity),
            *(unit_of(lot.counted), place.of_recalled),
            said("yes") if place.within_reach else "",
        )
        for lot in listed.lots
        for place in lot.places
    ]
    return Table(f"recall-{listed.lot.code}", columns, cells)


def accounts(listed: RecallList) -> Table:
    """Who was sold how much of which lot."""
    known = {lot.id: lot for lot in listed.lots}
    columns = [said("Who"), said("Lot"), said("Sold"), said("Came back"), said("Unit")]
    cells = [
        (
            *(one.customer, known[one.lot_id].code, one.sold, one.returned),
            unit_of(known[one.lot_id].counted),
        )
        for one in listed.accounts
    ]
    return Table(f"buyers-{listed.lot.code}", columns, cells)


def recalls(actor: Actor, rows: Iterable[Recall], closed: Mapping[UUID, RecallClosure]) -> Table:
    """All recalls, and how those that are closed were closed."""
    columns = [said("Lot"), said("Material"), said("Their lot"), said("Why"), said("Began")]
    columns += [said("Closed"), said("Why it was done")]
    cells = [
        (
            *(one.lot.code, one.lot.material.name, one.lot.supplier_lot, one.reason),
            day_of(actor, one.happened_at),
            *(
                (day_of(actor, closed[one.id].happened_at), closed[one.id].reason)
                if one.id in closed
                else (None, "")
            ),
        )
        for one in rows
    ]
    return Table("recalls", columns, cells)


def buyers(found: Sequence[Buyer]) -> Table:
    """What each buyer had of which lot, what became of it, and whether they were told."""
    columns = [said("Who"), said("Lot"), said("Sold"), said("Came back"), said("Destroyed")]
    columns += [said("Used up"), said("Still there"), said("Unit")]
    columns += [said("On consignment, pieces"), said("On consignment, g")]
    columns += [said("Contacts"), said("The last on"), said("Answered")]
    return Table("buyers", columns, [row for one in found for row in _rows_of(one)])


def _rows_of(one: Buyer) -> list[tuple[Cell, ...]]:
    """A row for each lot; a shop that was sold nothing has one as well."""
    heard = (one.contacts, one.last_contact_on, said("yes") if one.answered else "")
    at_shop: tuple[Cell, ...] = (one.at_shop.units, one.at_shop.grams)
    if not one.lines:
        return [(one.customer, "", None, None, None, None, None, "", *at_shop, *heard)]
    return [
        (
            *(one.customer, line.code, line.sold, line.returned, line.destroyed, line.used_up),
            *(line.left, unit_of(line.counted)),
            *(at_shop if place == 0 else (None, None)),
            *heard,
        )
        for place, line in enumerate(one.lines)
    ]


def makers(actor: Actor, found: Iterable[Answered], names: Mapping[UUID | None, str]) -> Table:
    """What each maker was told and has answered; whom another told is its own affair."""
    columns = [said("Maker"), said("Of the lot"), said("Told"), said("Answered"), said("On hold")]
    columns += [f"{CALLED[name]}, {unit}" for name in COUNTS for unit in (said("pieces"), "g")]
    columns += [said("Received"), said("Not accounted for"), said("A word from there")]
    columns += [said("Shrink was accounted for")]
    return Table("makers", columns, [_answer_of(actor, one, names) for one in found])


def _answer_of(actor: Actor, one: Answered, names: Mapping[UUID | None, str]) -> tuple[Cell, ...]:
    counts = [getattr(one.tally, name) if one.tally else None for name in COUNTS]
    figures: list[Any] = [
        getattr(count, unit) if count else None for count in counts for unit in ("units", "grams")
    ]
    return (
        names.get(one.maker) or said("told by a maker that passed it on"),
        *(one.quantity, day_of(actor, one.sent_at)),
        day_of(actor, one.answered_at) if one.answered_at else None,
        said("yes") if one.held else "",
        *figures,
        one.tally.received if one.tally else None,
        one.tally.unexplained if one.tally else None,
        one.reason,
        said("yes") if one.tally and one.tally.shrink_accounted else "",
    )


def together(counts: Mapping[str, Count]) -> Table:
    """What all makers have said, summed."""
    cells = [(str(CALLED[name]), one.units, one.grams) for name, one in counts.items()]
    return Table("all-makers", [said("What"), said("Pieces"), said("Grams")], cells)
