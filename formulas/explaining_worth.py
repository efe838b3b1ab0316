"""The working of what there was of a material on a day, and its worth: what came, what went."""

from collections import defaultdict
from datetime import date
from decimal import Decimal
from uuid import UUID

from formulas.explaining import Figure
from ledger.access import Actor
from ledger.book_reading import Moved, moved_up_to
from ledger.quantities import kept_in

ZERO = Decimal(0)
PLACES = {"store": "in store", "batch": "in pots", "consignment": "at shops"}


def explain_worth(actor: Actor, *, material: UUID | str, on: date) -> Figure:
    """What a material was worth at the end of a day, by place and by what moved it.

    Two queries. Raises NotFound, Forbidden.
    """
    found, moves = moved_up_to(actor, material=material, on=on)
    by_place: dict[str, list[Moved]] = defaultdict(list)
    for move in moves:
        by_place[move.place].append(move)
    unit = kept_in(found.counted)
    parts = tuple(
        Figure(
            PLACES[place],
            sum((move.value for move in rows), ZERO),
            actor.currency,
            how="all that came in less all that went out",
            parts=tuple(
                Figure(
                    move.kind.replace("_", " "),
                    move.value,
                    actor.currency,
                    facts={"quantity": f"{move.quantity.normalize():f} {unit}"},
                )
                for move in rows
            ),
        )
        for place, rows in by_place.items()
    )
    total = sum((move.value for move in moves), ZERO)
    return Figure(f"{found.name}, {on}", total, actor.currency, parts=parts)


def explain_stored(actor: Actor, *, material: UUID | str, on: date) -> Figure:
    """How much of a material was in store at the end of a day, by what moved it.

    Two queries. Raises NotFound, Forbidden.
    """
    found, moves = moved_up_to(actor, material=material, on=on)
    unit = kept_in(found.counted)
    parts = tuple(
        Figure(move.kind.replace("_", " "), move.quantity, unit)
        for move in moves
        if move.place == "store" and move.quantity
    )
    total = sum((one.amount or ZERO for one in parts), ZERO)
    how = "all that came in less all that went out"
    return Figure(f"{found.name}, {on}", total, unit, how=how, parts=parts)
